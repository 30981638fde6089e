-- I8, closed is closed: nothing is recorded with a date in a closed month of the refinery's local days.
CREATE FUNCTION custody_local_day(moment timestamptz) RETURNS date
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT (moment AT TIME ZONE coalesce((SELECT time_zone FROM custody_refinery WHERE id = 1), 'UTC'))::date
$$;

-- Locks the month shared, so that a close waits for the operations under way and they for it. First lock of all.
CREATE FUNCTION custody_open_day(moment timestamptz) RETURNS date
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    today date := custody_local_day(moment);
    closed timestamptz;
BEGIN
    -- Five seconds for the clocks of two machines.
    IF moment > clock_timestamp() + interval '5 seconds' THEN
        PERFORM custody_refuse('future', 'This date is in the future.', jsonb_build_object('at', moment));
    END IF;
    SELECT closed_at INTO closed FROM custody_period WHERE month = date_trunc('month', today)::date FOR KEY SHARE;
    IF NOT FOUND THEN
        INSERT INTO custody_period (month) VALUES (date_trunc('month', today)::date) ON CONFLICT DO NOTHING;
        SELECT closed_at INTO closed FROM custody_period WHERE month = date_trunc('month', today)::date FOR KEY SHARE;
    END IF;
    IF closed IS NOT NULL THEN
        PERFORM custody_refuse('closed_period', format('%s is closed.', to_char(today, 'YYYY-MM')),
                               jsonb_build_object('month', to_char(today, 'YYYY-MM'), 'at', moment));
    END IF;
    RETURN today;
END $$;

CREATE FUNCTION custody_day_is_open() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF NEW.day IS DISTINCT FROM custody_open_day(NEW.at) THEN
        PERFORM custody_refuse('closed_period', 'The day of an operation is the local day of its time.',
                               jsonb_build_object('operation', NEW.number));
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER operation_day_is_open BEFORE INSERT ON custody_operation
    FOR EACH ROW EXECUTE FUNCTION custody_day_is_open();

-- A close is for ever: a closed month never opens and its closing never changes.
CREATE FUNCTION custody_period_stays_closed() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_refuse('append_only', 'A closed month stays closed.', jsonb_build_object('month', OLD.month));
    RETURN NULL;
END $$;
CREATE TRIGGER period_stays_closed BEFORE UPDATE ON custody_period FOR EACH ROW
    WHEN (OLD.closed_at IS NOT NULL OR OLD.month <> NEW.month)
    EXECUTE FUNCTION custody_period_stays_closed();

CREATE FUNCTION custody_close_period(of_month date, by_user bigint) RETURNS void
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    first_day date := date_trunc('month', of_month)::date;
    closed timestamptz;
BEGIN
    IF first_day >= date_trunc('month', custody_local_day(clock_timestamp()))::date THEN
        PERFORM custody_refuse('month_not_over', 'Only a month that is over can be closed.',
                               jsonb_build_object('month', first_day));
    END IF;
    INSERT INTO custody_period (month) VALUES (first_day) ON CONFLICT DO NOTHING;
    SELECT closed_at INTO closed FROM custody_period WHERE month = first_day FOR UPDATE;
    IF closed IS NOT NULL THEN
        PERFORM custody_refuse('closed_period', 'This month is closed already.', jsonb_build_object('month', first_day));
    END IF;
    UPDATE custody_period SET closed_at = clock_timestamp(), closed_by_id = by_user WHERE month = first_day;
END $$;
