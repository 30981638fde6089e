-- Exchange of assays: a result is handed in once and stays sealed until both sides' are in. The application may not read
-- the sealed table at all; the view shows figures only of an exchange that is open.
ALTER TABLE custody_determination ADD CONSTRAINT exchange_named
    CHECK ((method = 'exchange of assays') = (exchange_id IS NOT NULL));

-- Open: both results are in, or the days agreed have gone by since the refinery's, and it stands alone.
CREATE FUNCTION custody_opened(of_exchange bigint) RETURNS boolean
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT EXISTS (
        SELECT FROM custody_sealedresult r JOIN custody_exchange x ON x.id = r.exchange_id
          JOIN custody_exchangeterms t ON t.id = x.terms_id
         WHERE x.id = of_exchange AND r.side = 'refinery'
           AND (EXISTS (SELECT FROM custody_sealedresult c WHERE c.exchange_id = x.id AND c.side = 'customer')
                OR custody_local_day(now()) > custody_local_day(r.at) + t.days))
$$;

CREATE VIEW custody_exchangeresult AS
    SELECT s.id, s.exchange_id, s.side, b.opened,
           CASE WHEN b.opened THEN s.au_ppm END AS au_ppm, CASE WHEN b.opened THEN s.ag_ppm END AS ag_ppm,
           CASE WHEN b.opened THEN s.pt_ppm END AS pt_ppm, CASE WHEN b.opened THEN s.pd_ppm END AS pd_ppm,
           CASE WHEN b.opened THEN s.laboratory ELSE '' END AS laboratory,
           CASE WHEN b.opened THEN s.reference ELSE '' END AS reference, s.determination_id, s.at, s.by_id
      FROM custody_sealedresult s, LATERAL (SELECT custody_opened(s.exchange_id) AS opened) b;

-- The exchange terms under which a lot that has no metals yet is assayed. None for what was bought and paid.
CREATE FUNCTION custody_exchange_due(of_lot bigint) RETURNS bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT custody_exchange_agreed(r.party_id, l.form, r.day)
      FROM custody_lot l JOIN custody_operation r ON r.id = l.receipt_id
     WHERE l.id = of_lot AND NOT l.valued
       AND NOT EXISTS (SELECT FROM custody_purchase p WHERE p.receipt_id = r.id)
$$;

CREATE FUNCTION custody_exchange_as_agreed() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF NEW.terms_id IS DISTINCT FROM custody_exchange_due(NEW.lot_id) OR NEW.at > clock_timestamp()
            OR NEW.party_id <> (SELECT party_id FROM custody_exchangeterms WHERE id = NEW.terms_id) THEN
        PERFORM custody_refuse('exchange', 'The assays of this lot are not exchanged: it has its metals, or no terms say so.',
                               jsonb_build_object('lot', NEW.lot_id));
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER exchange_as_agreed BEFORE INSERT ON custody_exchange
    FOR EACH ROW EXECUTE FUNCTION custody_exchange_as_agreed();

-- How one metal of an open exchange ends, ppm; as calc/exchange.py. NULL settled: the umpire's result is awaited.
CREATE FUNCTION custody_settled_ppm(ours int, theirs int, split int, umpires int, rule text) RETURNS int
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT CASE
        WHEN split IS NULL OR theirs IS NULL THEN ours
        WHEN abs(ours - theirs) <= split THEN custody_half_even(ours::numeric + theirs, 2)::int
        WHEN umpires IS NULL THEN NULL
        WHEN rule = 'umpire final' THEN umpires
        WHEN rule = 'nearer party unless umpire between' AND umpires BETWEEN least(ours, theirs) AND greatest(ours, theirs)
            THEN umpires
        WHEN rule = 'nearer party unless umpire between' THEN n.nearer
        ELSE custody_half_even(umpires::numeric + n.nearer, 2)::int END
      FROM (SELECT CASE sign(abs(ours - umpires) - abs(theirs - umpires)) WHEN 1 THEN theirs WHEN -1 THEN ours
                   ELSE umpires END AS nearer) n
$$;

-- What an exchange comes to, metal by metal; no rows while it is sealed.
CREATE FUNCTION custody_exchange_outcome(of_exchange bigint)
RETURNS TABLE (metal text, refinery_ppm int, customer_ppm int, umpire_ppm int, limit_ppm int, settled_ppm int)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT m.metal, m.ours, m.theirs, m.umpires, m.split, custody_settled_ppm(m.ours, m.theirs, m.split, m.umpires, t.rule)
      FROM custody_exchange x JOIN custody_exchangeterms t ON t.id = x.terms_id
      JOIN custody_sealedresult r ON r.exchange_id = x.id AND r.side = 'refinery'
      LEFT JOIN custody_sealedresult c ON c.exchange_id = x.id AND c.side = 'customer'
      LEFT JOIN custody_sealedresult u ON u.exchange_id = x.id AND u.side = 'umpire',
      LATERAL (VALUES ('Au', r.au_ppm, c.au_ppm, u.au_ppm, t.au_limit_ppm), ('Ag', r.ag_ppm, c.ag_ppm, u.ag_ppm, t.ag_limit_ppm),
                      ('Pt', r.pt_ppm, c.pt_ppm, u.pt_ppm, t.pt_limit_ppm), ('Pd', r.pd_ppm, c.pd_ppm, u.pd_ppm, t.pd_limit_ppm))
              m (metal, ours, theirs, umpires, split)
     WHERE x.id = of_exchange AND custody_opened(x.id)
$$;

-- What a result must be, whoever hands it in: whole, of a side that there is, naming every metal that it is asked for.
CREATE FUNCTION custody_check_result(s custody_sealedresult, x custody_exchange, t custody_exchangeterms) RETURNS void
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
BEGIN
    IF EXISTS (SELECT FROM custody_sealedresult WHERE exchange_id = x.id AND side = s.side) THEN
        PERFORM custody_refuse('sealed_once', format('The result of the %s is in already.', s.side),
                               jsonb_build_object('side', s.side, 'exchange', x.number));
    ELSIF s.side = 'umpire' AND NOT EXISTS (SELECT FROM custody_exchange_outcome(x.id) WHERE settled_ppm IS NULL) THEN
        PERFORM custody_refuse('no_umpire', 'There is nothing for an umpire to decide.',
                               jsonb_build_object('exchange', x.number));
    ELSIF s.side = 'customer' AND custody_opened(x.id) THEN
        PERFORM custody_refuse('exchange', 'The days agreed are over: the refinery''s result counts.', '{}');
    ELSIF s.side NOT IN ('refinery', 'customer', 'umpire') OR s.laboratory = '' THEN
        PERFORM custody_refuse('exchange', 'A result is one side''s, and names its laboratory.', '{}');
    ELSIF least(s.au_ppm, s.ag_ppm, s.pt_ppm, s.pd_ppm) < 0
            OR coalesce(s.au_ppm, 0) + coalesce(s.ag_ppm, 0) + coalesce(s.pt_ppm, 0) + coalesce(s.pd_ppm, 0) > 1000000 THEN
        PERFORM custody_refuse('exchange', 'A result is between nothing and the whole.', '{}');
    ELSIF s.side <> 'umpire' AND (t.au_limit_ppm IS NOT NULL AND s.au_ppm IS NULL
            OR t.ag_limit_ppm IS NOT NULL AND s.ag_ppm IS NULL OR t.pt_limit_ppm IS NOT NULL AND s.pt_ppm IS NULL
            OR t.pd_limit_ppm IS NOT NULL AND s.pd_ppm IS NULL)
            OR s.side = 'umpire' AND EXISTS (SELECT FROM custody_exchange_outcome(x.id) o WHERE o.settled_ppm IS NULL
                AND (CASE o.metal WHEN 'Au' THEN s.au_ppm WHEN 'Ag' THEN s.ag_ppm WHEN 'Pt' THEN s.pt_ppm
                     ELSE s.pd_ppm END) IS NULL) THEN
        PERFORM custody_refuse('exchange', 'A result names every metal that has a splitting limit.', '{}');
    END IF;
END $$;

-- Who knows one side's figures before the exchange is open has no part in the other's: neither the determination nor the
-- entry. A customer's own person hands in for that party alone.
CREATE FUNCTION custody_check_hands(s custody_sealedresult, x custody_exchange) RETURNS void
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    of_party bigint := (SELECT party_id FROM custody_user WHERE id = s.by_id);
    other custody_sealedresult;
    determined bigint;
    entered bigint;
BEGIN
    IF of_party IS NOT NULL AND (s.side <> 'customer' OR of_party <> x.party_id) THEN
        PERFORM custody_refuse('exchange', 'There is no such exchange.', '{}');
    ELSIF s.side = 'umpire' THEN
        RETURN;
    END IF;
    SELECT * INTO other FROM custody_sealedresult
     WHERE exchange_id = x.id AND side = CASE s.side WHEN 'refinery' THEN 'customer' ELSE 'refinery' END;
    determined := coalesce(s.determination_id, other.determination_id);
    entered := CASE s.side WHEN 'refinery' THEN other.by_id ELSE s.by_id END;
    IF s.by_id = other.by_id OR custody_worked_on(determined, entered)
            OR entered = (SELECT by_id FROM custody_determination WHERE id = determined) THEN
        PERFORM custody_refuse('sealed_by_another', 'The two results go through different hands.',
                               jsonb_build_object('exchange', x.number));
    END IF;
END $$;

-- Hands in one side's result, now: {exchange, side, ppm: {Au, …}, laboratory, reference, determination?, by}.
CREATE FUNCTION custody_seal_result(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    x custody_exchange;
    t custody_exchangeterms;
    d custody_determination;
    s custody_sealedresult;
BEGIN
    SELECT * INTO x FROM custody_exchange WHERE number = request ->> 'exchange' FOR UPDATE;
    IF x.id IS NULL THEN
        PERFORM custody_refuse('exchange', 'There is no such exchange.', '{}');
    END IF;
    SELECT * INTO t FROM custody_exchangeterms WHERE id = x.terms_id;
    s.exchange_id := x.id;
    s.side := request ->> 'side';
    s.au_ppm := (request #>> '{ppm,Au}')::int;
    s.ag_ppm := (request #>> '{ppm,Ag}')::int;
    s.pt_ppm := (request #>> '{ppm,Pt}')::int;
    s.pd_ppm := (request #>> '{ppm,Pd}')::int;
    s.laboratory := coalesce(request ->> 'laboratory', '');
    s.reference := coalesce(request ->> 'reference', '');
    s.at := clock_timestamp();
    s.by_id := (request ->> 'by')::bigint;
    IF s.side = 'refinery' THEN
        SELECT * INTO d FROM custody_determination WHERE id = (request ->> 'determination')::bigint;
        IF d.id IS NULL OR d.lot_id <> x.lot_id OR d.exchange_id IS NOT NULL
                OR (d.au_ppm, d.ag_ppm, d.pt_ppm, d.pd_ppm) IS DISTINCT FROM (s.au_ppm, s.ag_ppm, s.pt_ppm, s.pd_ppm) THEN
            PERFORM custody_refuse('exchange', 'The refinery hands in a determination of the lot, as it is.', '{}');
        ELSIF d.method IN ('XRF indication', 'density indication', 'as declared') THEN
            PERFORM custody_refuse('indication_only', 'An indication settles nothing.', '{}');
        ELSIF EXISTS (SELECT FROM custody_repeatorder WHERE determination_id = d.id) THEN
            PERFORM custody_refuse('assayed_again', 'This was not accepted: the lot is assayed again.', '{}');
        END IF;
        s.determination_id := d.id;
    END IF;
    PERFORM custody_check_result(s, x, t);
    PERFORM custody_check_hands(s, x);
    s.id := nextval(pg_get_serial_sequence('custody_sealedresult', 'id'));
    INSERT INTO custody_sealedresult SELECT s.*;
    RETURN s.id;
END $$;

-- Whether a person determined or handed in one of the results behind a settled assay: they do not accept it.
CREATE FUNCTION custody_handed_in(of_determination bigint, person bigint) RETURNS boolean
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
BEGIN
    RETURN EXISTS (
        SELECT FROM custody_determination d JOIN custody_exchangeresult r ON r.exchange_id = d.exchange_id
          LEFT JOIN custody_determination o ON o.id = r.determination_id
         WHERE d.id = of_determination AND (person IN (r.by_id, o.by_id) OR custody_worked_on(o.id, person)));
END $$;

-- A lot whose assays are exchanged is first valued by what the exchange came to, and by nothing else.
CREATE FUNCTION custody_check_exchanged(of_determination bigint) RETURNS void
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    d custody_determination;
    x custody_exchange;
    excess int; -- by so much the metals, settled one by one, exceed the whole: one of them, as agreed, gives way
BEGIN
    SELECT * INTO d FROM custody_determination WHERE id = of_determination;
    SELECT * INTO x FROM custody_exchange WHERE lot_id = d.lot_id;
    SELECT greatest(sum(settled_ppm) - 1000000, 0) INTO excess FROM custody_exchange_outcome(x.id);
    IF (SELECT valued FROM custody_lot WHERE id = d.lot_id) THEN
        RETURN;
    ELSIF x.id IS NULL AND custody_exchange_due(d.lot_id) IS NOT NULL THEN
        PERFORM custody_refuse('exchange_due', 'The assays of this lot are exchanged first.',
                               (SELECT jsonb_build_object('lot', l.number, 'party', p.code) FROM custody_lot l
                                  JOIN custody_operation r ON r.id = l.receipt_id JOIN custody_party p ON p.id = r.party_id
                                 WHERE l.id = d.lot_id));
    ELSIF d.exchange_id IS DISTINCT FROM x.id THEN
        PERFORM custody_refuse('exchange_open', format('The assays of this lot are exchanged (%s).', x.number),
                               jsonb_build_object('exchange', x.number));
    ELSIF x.id IS NOT NULL AND (NOT EXISTS (SELECT FROM custody_exchange_outcome(x.id)) OR (
            SELECT count(*) <> (excess > 0)::int OR coalesce(bool_or(o.settled_ppm - said.ppm IS DISTINCT FROM excess), false)
              FROM custody_exchange_outcome(x.id) o, LATERAL (SELECT CASE o.metal WHEN 'Au' THEN d.au_ppm
                       WHEN 'Ag' THEN d.ag_ppm WHEN 'Pt' THEN d.pt_ppm ELSE d.pd_ppm END AS ppm) said
             WHERE o.settled_ppm IS DISTINCT FROM said.ppm)) THEN
        PERFORM custody_refuse('exchange_open', format('This is not what exchange %s came to.', x.number),
                               jsonb_build_object('exchange', x.number));
    END IF;
END $$;
