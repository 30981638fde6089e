-- Scales: what each may be off by, its checks, and the rule that nothing is weighed on a scale that was not checked
-- that day or failed.

-- Maximum permissible error in service at a load, micrograms (OIML R 76-1, Table 6, doubled); as calc/scales.py.
CREATE FUNCTION custody_permissible_ug(of_scale bigint, load_mg bigint) RETURNS bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT s.e_mg * 1000 * (1 + (load_mg > b.one * s.e_mg)::int + (load_mg > b.two * s.e_mg)::int)
      FROM custody_scale s JOIN (VALUES ('I', 50000, 200000), ('II', 5000, 20000), ('III', 500, 2000),
           ('IIII', 50, 200)) b (accuracy, one, two) ON b.accuracy = s.accuracy WHERE s.id = of_scale
$$;

-- The plate of a scale never changes: past weighings are judged by it.
CREATE FUNCTION custody_scale_plate() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_refuse('scale_plate', format('The plate of scale %s stays: take it out of use and enter another.',
        OLD.code), jsonb_build_object('scale', OLD.code));
    RETURN NULL;
END $$;
CREATE TRIGGER scale_plate BEFORE UPDATE ON custody_scale FOR EACH ROW
    WHEN ((OLD.code, OLD.accuracy, OLD.e_mg, OLD.d_ug, OLD.min_ug, OLD.max_mg)
          IS DISTINCT FROM (NEW.code, NEW.accuracy, NEW.e_mg, NEW.d_ug, NEW.min_ug, NEW.max_mg))
    EXECUTE FUNCTION custody_scale_plate();

-- A check: {scale, at, by, request_key?, reason?, loads: [{weights, load_mg, reference_ug, reading_ug}]}. The limits are
-- reckoned here, and it passes when every reading keeps its own. Without loads it says that the scale was found faulty.
CREATE FUNCTION custody_check_scale(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    s custody_scale;
    moment timestamptz := (request ->> 'at')::timestamptz;
    loads jsonb := coalesce(request -> 'loads', '[]');
    good boolean;
    made bigint;
BEGIN
    SELECT id INTO made FROM custody_scalecheck WHERE request_key = (request ->> 'request_key')::uuid;
    IF FOUND THEN
        RETURN made;
    END IF;
    SELECT * INTO s FROM custody_scale WHERE code = request ->> 'scale' FOR UPDATE;
    IF NOT FOUND OR NOT s.active THEN
        PERFORM custody_refuse('unknown_scale', format('There is no scale %s in use.', request ->> 'scale'),
                               jsonb_build_object('scale', request ->> 'scale'));
    ELSIF moment > clock_timestamp() + interval '5 seconds' THEN
        PERFORM custody_refuse('future', 'This date is in the future.', jsonb_build_object('at', moment));
    ELSIF jsonb_array_length(loads) = 0 AND coalesce(request ->> 'reason', '') = '' THEN
        PERFORM custody_refuse('scale_check', 'A check has at least one load; a fault has its reason.',
                               jsonb_build_object('scale', s.code));
    END IF;
    SELECT jsonb_array_length(loads) > 0 AND bool_and(abs((l ->> 'reading_ug')::bigint - (l ->> 'reference_ug')::bigint)
               <= custody_permissible_ug(s.id, (l ->> 'load_mg')::bigint)) INTO good FROM jsonb_array_elements(loads) l;
    INSERT INTO custody_scalecheck (scale_id, at, day, passed, reason, by_id, recorded_at, request_key)
    VALUES (s.id, moment, custody_local_day(moment), coalesce(good, false), coalesce(request ->> 'reason', ''),
            (request ->> 'by')::bigint, clock_timestamp(), (request ->> 'request_key')::uuid) RETURNING id INTO made;
    INSERT INTO custody_scalecheckload (check_of_id, weights, load_mg, reference_ug, reading_ug, limit_ug)
    SELECT made, l ->> 'weights', (l ->> 'load_mg')::bigint, (l ->> 'reference_ug')::bigint,
           (l ->> 'reading_ug')::bigint, custody_permissible_ug(s.id, (l ->> 'load_mg')::bigint)
      FROM jsonb_array_elements(loads) WITH ORDINALITY u(l, i) ORDER BY i;
    RETURN made;
END $$;

-- The last check of a scale at a moment of a local day; NULL where it was not checked that day.
CREATE FUNCTION custody_checked(of_scale bigint, moment timestamptz) RETURNS custody_scalecheck
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT c.* FROM custody_scalecheck c
     WHERE c.scale_id = of_scale AND c.day = custody_local_day(moment) AND c.at <= moment
     ORDER BY c.at DESC, c.id DESC LIMIT 1
$$;

CREATE FUNCTION custody_weighing_on_a_checked_scale() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    s custody_scale;
    c custody_scalecheck;
    d jsonb;
BEGIN
    SELECT * INTO s FROM custody_scale WHERE id = NEW.scale_id FOR SHARE;
    c := custody_checked(s.id, NEW.at);
    d := jsonb_build_object('scale', s.code, 'load_mg', NEW.gross_mg);
    IF NOT s.active THEN
        PERFORM custody_refuse('unknown_scale', format('Scale %s is out of use.', s.code), d);
    ELSIF c.id IS NULL THEN
        PERFORM custody_refuse('scale_unchecked', format('Scale %s was not checked that day.', s.code), d);
    ELSIF NOT c.passed THEN
        PERFORM custody_refuse('scale_failed', format('Scale %s failed its check.', s.code), d);
    ELSIF NEW.gross_mg > s.max_mg OR NEW.gross_mg * 1000 < s.min_ug THEN
        PERFORM custody_refuse('scale_load', format('Scale %s does not weigh this load.', s.code),
            d || jsonb_build_object('max_mg', s.max_mg, 'least_mg', (s.min_ug + 999) / 1000));
    ELSIF NEW.gross_reading_id IS NOT NULL AND NOT custody_is_reading(NEW.gross_reading_id, s.id, NEW.gross_mg)
            OR NEW.tare_reading_id IS NOT NULL AND NOT custody_is_reading(NEW.tare_reading_id, s.id, NEW.tare_mg)
            OR NEW.gross_reading_id = NEW.tare_reading_id THEN
        PERFORM custody_refuse('reading', 'This is not what the scale sent.', d);
    ELSIF NEW.purpose = 'before melting' THEN
        PERFORM custody_check_melt_weight(NEW);
    END IF;
    RETURN NEW;
END $$;

-- What goes into a melt is weighed again: a difference from its book that the errors of both scales do not explain has a
-- reason and a countersignature. Asked before the weighing is there: the last one of the lot is the one before it.
CREATE FUNCTION custody_check_melt_weight(w custody_weighing) RETURNS void
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    book bigint;
    allowed bigint;
    signed boolean;
    before_on bigint := coalesce((SELECT scale_id FROM custody_weighing WHERE lot_id = w.lot_id ORDER BY id DESC LIMIT 1),
                                 w.scale_id);
BEGIN
    SELECT m.gross_mg, o.countersigned_by_id IS NOT NULL AND o.reason <> '' INTO book, signed
      FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id
     WHERE o.id = w.operation_id AND m.lot_id = w.lot_id AND m.side = 'in';
    allowed := custody_permissible_ug(w.scale_id, w.net_mg) + custody_permissible_ug(before_on, book);
    IF NOT coalesce(signed, false) AND (abs(w.net_mg - book) * 1000 <= allowed) IS NOT TRUE THEN
        PERFORM custody_refuse('handover_difference', 'A lot weighs otherwise than its book.',
            jsonb_build_object('lot', (SELECT number FROM custody_lot WHERE id = w.lot_id), 'book_mg', book,
                'weighed_mg', w.net_mg, 'off_mg', abs(w.net_mg - book), 'allowed_ug', allowed));
    END IF;
END $$;

-- Whether a scale sent this mass, at rest, and no weighing used it yet, as gross or as tare; micrograms rounded half to
-- even to the milligram. Volatile, so that it sees the rows before this one in the same statement; two that want the same
-- reading at the same moment wait for each other.
CREATE FUNCTION custody_is_reading(reading bigint, of_scale bigint, mg bigint) RETURNS boolean
LANGUAGE sql VOLATILE SET search_path = public, pg_temp AS $$
    SELECT pg_advisory_xact_lock(hashtextextended('reading', reading));
    SELECT EXISTS (SELECT FROM custody_scalereading r WHERE r.id = reading AND r.scale_id = of_scale AND r.stable
                      AND custody_half_even(r.value_ug, 1000) = mg)
       AND NOT EXISTS (SELECT FROM custody_weighing w WHERE w.gross_reading_id = reading OR w.tare_reading_id = reading)
$$;
CREATE TRIGGER weighing_on_a_checked_scale BEFORE INSERT ON custody_weighing
    FOR EACH ROW EXECUTE FUNCTION custody_weighing_on_a_checked_scale();
