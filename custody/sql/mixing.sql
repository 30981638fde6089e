-- I7, no blind mixing: lots of different receipts are merged only when each is valued, released and allowed to mix by
-- its custody model (ISO 22095). Parcels of one receipt that differ in declared origin, owner or clearance wait for
-- valuation and release just the same.
CREATE FUNCTION custody_same_parcels(lots custody_lot[]) RETURNS boolean
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT count(DISTINCT (receipt_id, coalesce(amended_origin, declared_origin), coalesce(owner_id, 0), pooled, clearance)) = 1
           AND bool_and(receipt_id IS NOT NULL)
      FROM unnest(lots)
$$;

-- What stands against merging these lots, lot by lot: the refusal's name, its message and figures. The planner asks it
-- beforehand, custody_check_mixing when the lots are merged.
CREATE FUNCTION custody_mixing_faults(lots custody_lot[]) RETURNS TABLE (code text, said text, detail jsonb)
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
BEGIN
    IF coalesce(cardinality(lots), 0) < 2 OR custody_same_parcels(lots) THEN
        RETURN;
    END IF;
    FOREACH l IN ARRAY lots LOOP
        detail := jsonb_build_object('lot', l.number);
        IF NOT l.valued OR custody_unassayed(l) THEN
            code := 'blind_mixing_unvalued';
            said := format('Lot %s is not valued.', l.number);
            RETURN NEXT;
        ELSIF l.clearance <> 'released' THEN
            code := 'blind_mixing_unreleased';
            said := format('Lot %s is not released.', l.number);
            RETURN NEXT;
        ELSIF l.custody_model = 'identity preserved' THEN
            code := 'blind_mixing_model';
            said := format('Lot %s keeps its identity.', l.number);
            detail := detail || jsonb_build_object('model', l.custody_model);
            RETURN NEXT;
        ELSIF l.custody_model = 'segregated' AND EXISTS (
                SELECT FROM unnest(lots) o WHERE o.custody_model <> 'segregated'
                    OR coalesce(o.amended_origin, o.declared_origin) <> coalesce(l.amended_origin, l.declared_origin)
                    OR o.owner_id IS DISTINCT FROM l.owner_id) THEN
            code := 'blind_mixing_model';
            said := format('Lot %s is segregated.', l.number);
            detail := detail || jsonb_build_object('model', l.custody_model);
            RETURN NEXT;
        END IF;
    END LOOP;
END $$;

CREATE FUNCTION custody_check_mixing(lots custody_lot[]) RETURNS void
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    fault record;
BEGIN
    FOR fault IN SELECT f.* FROM custody_mixing_faults(lots) f LIMIT 1 LOOP
        PERFORM custody_refuse(fault.code, fault.said, fault.detail);
    END LOOP;
END $$;

-- What a mixture is: the loosest model of its parts; one receipt, origin and owner only if all parts agree.
CREATE TYPE custody_mixture AS (
    receipt_id bigint, declared_origin text, owner_id bigint, pooled boolean, custody_model text, clearance text,
    valued boolean, several_owners boolean);
CREATE FUNCTION custody_mixture_of(lots custody_lot[]) RETURNS custody_mixture
LANGUAGE plpgsql IMMUTABLE SET search_path = public, pg_temp AS $$
DECLARE
    models text[] := ARRAY['identity preserved', 'segregated', 'controlled blending', 'mass balance'];
    first custody_lot := lots[1];
    l custody_lot;
    mix custody_mixture := ROW(first.receipt_id, coalesce(first.amended_origin, first.declared_origin), first.owner_id, first.pooled,
                               first.custody_model, 'released', true, false)::custody_mixture;
BEGIN
    IF cardinality(lots) = 0 THEN
        -- A clean-out takes no lot: what it gathers is the house's, until its assay says from which losses it comes.
        RETURN ROW(NULL, '', NULL, false, 'mass balance', 'released', true, false)::custody_mixture;
    END IF;
    FOREACH l IN ARRAY lots LOOP
        IF l.receipt_id IS DISTINCT FROM first.receipt_id THEN
            mix.receipt_id := NULL;
        END IF;
        IF coalesce(l.amended_origin, l.declared_origin) <> mix.declared_origin THEN
            mix.declared_origin := '';
        END IF;
        IF l.owner_id IS DISTINCT FROM first.owner_id OR l.pooled <> first.pooled THEN
            mix.owner_id := NULL;
            mix.pooled := true;
            mix.several_owners := true;
        END IF;
        IF array_position(models, l.custody_model::text) > array_position(models, mix.custody_model) THEN
            mix.custody_model := l.custody_model;
        END IF;
        IF l.clearance <> 'released' THEN
            mix.clearance := 'awaiting release';
        END IF;
        mix.valued := mix.valued AND l.valued;
    END LOOP;
    RETURN mix;
END $$;
