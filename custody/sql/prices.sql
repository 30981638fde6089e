-- Prices: a day has one price of a metal, currency and fixing that stands, a wrong one is replaced by a later row; whether
-- a price jumps is judged here, and a doubtful one is confirmed by another person than the one who entered it (I12).

-- A price of a gram as one of a troy ounce, so that prices in either unit are compared: a number of digits, never rounded.
CREATE FUNCTION custody_per_ounce(amount numeric, per text) RETURNS numeric
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT CASE per WHEN 'g' THEN amount * 31.1034768 ELSE amount END
$$;

-- Whether metal may be settled at a price: nothing took its place, and it is no doubtful one that nobody confirmed.
CREATE FUNCTION custody_price_counts(p custody_price) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT NOT EXISTS (SELECT FROM custody_price n WHERE n.replaces_id = p.id)
       AND (NOT p.doubtful OR EXISTS (SELECT FROM custody_priceconfirmation c WHERE c.price_id = p.id))
$$;

-- Two who enter, replace or confirm prices of one series wait for each other: what is compared must stay.
CREATE FUNCTION custody_lock_prices(p custody_price) RETURNS void
LANGUAGE sql SET search_path = public, pg_temp AS $$
    SELECT pg_advisory_xact_lock(hashtextextended(format('prices %s %s %s', p.metal, p.currency, p.fixing), 0))
$$;

-- What a price is judged against: the last one before it that counts, a doubtful one does not, or else a series of wrong
-- prices would be one doubtful price and then good ones. The first of a series is judged by the one after it, if any.
CREATE FUNCTION custody_price_before(p custody_price) RETURNS custody_price
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    found_one custody_price;
BEGIN
    SELECT b.* INTO found_one FROM custody_price b
     WHERE b.metal = p.metal AND b.currency = p.currency AND b.fixing = p.fixing AND b.day < p.day
       AND custody_price_counts(b) ORDER BY b.day DESC LIMIT 1;
    IF found_one.id IS NULL THEN
        SELECT b.* INTO found_one FROM custody_price b
         WHERE b.metal = p.metal AND b.currency = p.currency AND b.fixing = p.fixing AND b.day > p.day
           AND custody_price_counts(b) ORDER BY b.day LIMIT 1;
    END IF;
    RETURN found_one;
END $$;

-- Judges a price as it is entered, whatever whoever enters it says of it.
CREATE FUNCTION custody_judge_price() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    standing custody_price;
    was custody_price;
    told jsonb := jsonb_build_object('metal', NEW.metal, 'currency', NEW.currency, 'fixing', NEW.fixing, 'day', NEW.day);
BEGIN
    PERFORM custody_lock_prices(NEW);
    SELECT p.* INTO standing FROM custody_price p
     WHERE p.metal = NEW.metal AND p.currency = NEW.currency AND p.fixing = NEW.fixing AND p.day = NEW.day
       AND NOT EXISTS (SELECT FROM custody_price n WHERE n.replaces_id = p.id);
    IF NEW.day > custody_local_day(clock_timestamp()) THEN
        PERFORM custody_refuse('price_day', 'A price is of today or of an earlier day.', told);
    ELSIF NEW.replaces_id IS NULL AND standing.id IS NOT NULL THEN
        PERFORM custody_refuse('price_stands', 'This day has a price already.', told);
    ELSIF NEW.replaces_id IS DISTINCT FROM standing.id THEN
        PERFORM custody_refuse('price_replaced', 'That is not the price that stands for this day.', told);
    END IF;
    was := custody_price_before(NEW);
    NEW.before_id := was.id;
    NEW.limit_ppm := coalesce((SELECT jump_ppm FROM custody_pricelimit WHERE metal = NEW.metal AND valid_from <= NEW.day
                                ORDER BY valid_from DESC, id DESC LIMIT 1), 50000);
    NEW.doubtful := was.id IS NOT NULL
        AND abs(custody_per_ounce(NEW.amount, NEW.per) - custody_per_ounce(was.amount, was.per)) * 1000000
            > custody_per_ounce(was.amount, was.per) * NEW.limit_ppm;
    RETURN NEW;
END $$;
CREATE TRIGGER price_judged BEFORE INSERT ON custody_price FOR EACH ROW EXECUTE FUNCTION custody_judge_price();

CREATE FUNCTION custody_price_confirmed() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    p custody_price;
BEGIN
    SELECT * INTO p FROM custody_price WHERE id = NEW.price_id;
    PERFORM custody_lock_prices(p);
    IF p.by_id = NEW.by_id THEN
        PERFORM custody_refuse('price_confirmed_by_another', 'Who enters a price does not confirm it.', '{}');
    ELSIF NOT p.doubtful OR EXISTS (SELECT FROM custody_price n WHERE n.replaces_id = p.id) THEN
        PERFORM custody_refuse('price_confirm', 'Only a doubtful price that stands is confirmed.', '{}');
    ELSIF NOT EXISTS (SELECT FROM custody_rolegrant
                       WHERE user_id = NEW.by_id AND role IN ('metal accountant', 'manager')) THEN
        PERFORM custody_refuse('price_confirm_right', 'Metal accountants and managers confirm prices.', '{}');
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER priceconfirmation_by_another BEFORE INSERT ON custody_priceconfirmation
    FOR EACH ROW EXECUTE FUNCTION custody_price_confirmed();

-- A limit holds from today or a later day: prices of earlier days were judged by theirs.
CREATE FUNCTION custody_price_limit_ahead() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF NEW.valid_from < custody_local_day(clock_timestamp()) THEN
        PERFORM custody_refuse('price_limit', 'A limit holds from today or a later day.', '{}');
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER pricelimit_ahead BEFORE INSERT ON custody_pricelimit
    FOR EACH ROW EXECUTE FUNCTION custody_price_limit_ahead();
