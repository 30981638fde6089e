-- I7, no blind mixing: lots of different receipts are merged only when each is valued, released and allowed to mix by
-- its custody model (ISO 22095). Parcels of one receipt that differ in declared origin, owner or clearance wait for
-- valuation and release just the same.
CREATE FUNCTION custody_same_parcels(lots custody_lot[]) RETURNS boolean
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT count(DISTINCT (receipt_id, declared_origin, coalesce(owner_id, 0), pooled, clearance)) = 1
           AND bool_and(receipt_id IS NOT NULL)
      FROM unnest(lots)
$$;

CREATE FUNCTION custody_check_mixing(lots custody_lot[]) RETURNS void
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
BEGIN
    IF cardinality(lots) < 2 OR custody_same_parcels(lots) THEN
        RETURN;
    END IF;
    FOREACH l IN ARRAY lots LOOP
        IF NOT l.valued THEN
            PERFORM custody_refuse('blind_mixing_unvalued', format('Lot %s is not valued.', l.number),
                                   jsonb_build_object('lot', l.number));
        ELSIF l.clearance <> 'released' THEN
            PERFORM custody_refuse('blind_mixing_unreleased', format('Lot %s is not released.', l.number),
                                   jsonb_build_object('lot', l.number));
        ELSIF l.custody_model = 'identity preserved' THEN
            PERFORM custody_refuse('blind_mixing_model', format('Lot %s keeps its identity.', l.number),
                                   jsonb_build_object('lot', l.number, 'model', l.custody_model));
        ELSIF l.custody_model = 'segregated' AND EXISTS (
                SELECT FROM unnest(lots) o WHERE o.custody_model <> 'segregated'
                    OR o.declared_origin <> l.declared_origin OR o.owner_id IS DISTINCT FROM l.owner_id) THEN
            PERFORM custody_refuse('blind_mixing_model', format('Lot %s is segregated.', l.number),
                                   jsonb_build_object('lot', l.number, 'model', l.custody_model));
        END IF;
    END LOOP;
END $$;

-- What a mixture is: the loosest model of its parts; one receipt, origin and owner only if all parts agree.
CREATE TYPE custody_mixture AS (
    receipt_id bigint, declared_origin text, owner_id bigint, pooled boolean, custody_model text, clearance text,
    valued boolean, several_owners boolean);
CREATE FUNCTION custody_mixture_of(lots custody_lot[]) RETURNS custody_mixture
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT CASE WHEN count(DISTINCT coalesce(receipt_id, 0)) = 1 THEN min(receipt_id) END,
           CASE WHEN count(DISTINCT declared_origin) = 1 THEN min(declared_origin) ELSE '' END,
           CASE WHEN count(DISTINCT (coalesce(owner_id, 0), pooled)) = 1 THEN min(owner_id) END,
           bool_or(pooled) OR count(DISTINCT coalesce(owner_id, 0)) > 1,
           (ARRAY['identity preserved', 'segregated', 'controlled blending', 'mass balance'])[
               max(array_position(ARRAY['identity preserved', 'segregated', 'controlled blending', 'mass balance'],
                                  custody_model::text))],
           CASE WHEN bool_and(clearance = 'released') THEN 'released' ELSE 'awaiting release' END,
           bool_and(valued), count(DISTINCT (coalesce(owner_id, 0), pooled)) > 1
      FROM unnest(lots)
$$;
