-- Exchange of assays: a result is handed in once and stays sealed until both sides' are in. The application may not read
-- the sealed table at all; the view shows figures only of an exchange that is open.
CREATE FUNCTION custody_both_in(of_exchange bigint) RETURNS boolean
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp AS $$
    SELECT count(*) = 2 FROM custody_sealedresult WHERE exchange_id = of_exchange AND side IN ('refinery', 'customer')
$$;

CREATE VIEW custody_exchangeresult AS
    SELECT s.id, s.exchange_id, s.side, b.opened,
           CASE WHEN b.opened THEN s.au_ppm END AS au_ppm, CASE WHEN b.opened THEN s.ag_ppm END AS ag_ppm,
           CASE WHEN b.opened THEN s.pt_ppm END AS pt_ppm, CASE WHEN b.opened THEN s.pd_ppm END AS pd_ppm,
           s.laboratory, s.determination_id, s.at, s.by_id
      FROM custody_sealedresult s, LATERAL (SELECT custody_both_in(s.exchange_id) AS opened) b;

-- How one metal of an open exchange ends, ppm; as calc/exchange.py. NULL settled: the umpire's result is awaited.
CREATE FUNCTION custody_settled_ppm(ours int, theirs int, split int, umpires int, rule text) RETURNS int
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT CASE
        WHEN split IS NULL THEN ours
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
      JOIN custody_sealedresult c ON c.exchange_id = x.id AND c.side = 'customer'
      LEFT JOIN custody_sealedresult u ON u.exchange_id = x.id AND u.side = 'umpire',
      LATERAL (VALUES ('Au', r.au_ppm, c.au_ppm, u.au_ppm, t.au_limit_ppm), ('Ag', r.ag_ppm, c.ag_ppm, u.ag_ppm, t.ag_limit_ppm),
                      ('Pt', r.pt_ppm, c.pt_ppm, u.pt_ppm, t.pt_limit_ppm), ('Pd', r.pd_ppm, c.pd_ppm, u.pd_ppm, t.pd_limit_ppm))
              m (metal, ours, theirs, umpires, split)
     WHERE x.id = of_exchange AND (m.ours IS NOT NULL OR m.split IS NOT NULL)
$$;

-- Hands in one side's result: {exchange, side, ppm: {Au, …}, laboratory, determination?, at, by}.
CREATE FUNCTION custody_seal_result(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    x custody_exchange;
    t custody_exchangeterms;
    d custody_determination;
    s custody_sealedresult;
    earlier custody_sealedresult;
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
    s.laboratory := request ->> 'laboratory';
    s.at := (request ->> 'at')::timestamptz;
    s.by_id := (request ->> 'by')::bigint;
    SELECT * INTO earlier FROM custody_sealedresult WHERE exchange_id = x.id AND side = s.side;
    IF FOUND THEN
        PERFORM custody_refuse('sealed_once', format('The result of the %s is in already.', s.side),
                               jsonb_build_object('side', s.side, 'exchange', x.number));
    ELSIF s.side = 'umpire' AND NOT EXISTS (SELECT FROM custody_exchange_outcome(x.id) WHERE settled_ppm IS NULL) THEN
        PERFORM custody_refuse('no_umpire', 'There is nothing for an umpire to decide.',
                               jsonb_build_object('exchange', x.number));
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
    IF s.side = 'refinery' THEN
        SELECT * INTO d FROM custody_determination WHERE id = (request ->> 'determination')::bigint;
        IF d.id IS NULL OR d.lot_id <> x.lot_id OR d.exchange_id IS NOT NULL
                OR (d.au_ppm, d.ag_ppm, d.pt_ppm, d.pd_ppm) IS DISTINCT FROM (s.au_ppm, s.ag_ppm, s.pt_ppm, s.pd_ppm) THEN
            PERFORM custody_refuse('exchange', 'The refinery hands in a determination of the lot, as it is.', '{}');
        END IF;
        s.determination_id := d.id;
    END IF;
    s.id := nextval(pg_get_serial_sequence('custody_sealedresult', 'id'));
    INSERT INTO custody_sealedresult SELECT s.*;
    RETURN s.id;
END $$;

-- A lot whose assays are exchanged is first valued by what the exchange came to, and by nothing else.
CREATE FUNCTION custody_check_exchanged(of_determination bigint) RETURNS void
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    d custody_determination;
    x custody_exchange;
BEGIN
    SELECT * INTO d FROM custody_determination WHERE id = of_determination;
    SELECT * INTO x FROM custody_exchange WHERE lot_id = d.lot_id;
    IF x.id IS NULL OR (SELECT valued FROM custody_lot WHERE id = d.lot_id) THEN
        RETURN;
    ELSIF d.exchange_id IS DISTINCT FROM x.id THEN
        PERFORM custody_refuse('exchange_open', format('The assays of this lot are exchanged (%s).', x.number),
                               jsonb_build_object('exchange', x.number));
    ELSIF NOT EXISTS (SELECT FROM custody_exchange_outcome(x.id)) OR EXISTS (
            SELECT FROM custody_exchange_outcome(x.id) o WHERE o.settled_ppm IS DISTINCT FROM
                CASE o.metal WHEN 'Au' THEN d.au_ppm WHEN 'Ag' THEN d.ag_ppm WHEN 'Pt' THEN d.pt_ppm ELSE d.pd_ppm END) THEN
        PERFORM custody_refuse('exchange_open', format('This is not what exchange %s came to.', x.number),
                               jsonb_build_object('exchange', x.number));
    END IF;
END $$;
