-- The head of an operation, its tolerance, and the seal.
CREATE FUNCTION custody_head(request jsonb) RETURNS custody_operation
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    op custody_operation;
BEGIN
    op.id := nextval('custody_operation_id_seq');
    op.kind := request ->> 'kind';
    op.at := (request ->> 'at')::timestamptz;
    op.day := custody_open_day(op.at);
    op.recorded_at := clock_timestamp();
    op.by_id := (request ->> 'by')::bigint;
    op.source := coalesce(request ->> 'source', 'live');
    op.reason := coalesce(request ->> 'reason', '');
    op.about := (request ->> 'about')::date;
    op.basis := coalesce(request ->> 'basis', '');
    op.delivered_by := coalesce(request ->> 'delivered_by', '');
    op.acceptance_id := (request ->> 'acceptance')::bigint;
    op.over_tolerance := false;
    op.countersign_meaning := coalesce(request ->> 'countersign_meaning', '');
    op.countersigned_by_id := (request ->> 'countersigned_by')::bigint;
    op.countersigned_at := CASE WHEN request ? 'countersigned_by' THEN op.recorded_at END;
    op.request_key := (request ->> 'request_key')::uuid;
    op.request_sha256 := decode(request ->> 'request_sha256', 'hex');
    op.number := coalesce(request ->> 'number', CASE op.kind
        WHEN 'receive' THEN custody_number('R', 'custody_number_receipt', op.at)
        ELSE custody_number('OP', 'custody_number_operation', op.at) END);
    IF EXISTS (SELECT FROM custody_operation WHERE number = op.number) THEN
        PERFORM custody_refuse('number_taken', format('Operation %s is recorded already.', op.number),
                               jsonb_build_object('number', op.number));
    END IF;
    IF request ? 'party' THEN
        SELECT id INTO op.party_id FROM custody_party WHERE code = request ->> 'party';
        IF op.party_id IS NULL THEN
            PERFORM custody_refuse('unknown_party', format('There is no party %s.', request ->> 'party'),
                                   jsonb_build_object('party', request ->> 'party'));
        END IF;
    END IF;
    op.place_id := custody_place(request ->> 'place', NULL);
    RETURN op;
END $$;

CREATE FUNCTION custody_place(place_code text, otherwise bigint) RETURNS bigint
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    found_place bigint;
BEGIN
    IF place_code IS NULL THEN
        RETURN otherwise;
    END IF;
    SELECT id INTO found_place FROM custody_place WHERE code = place_code AND active;
    IF found_place IS NULL THEN
        PERFORM custody_refuse('unknown_place', format('There is no place %s.', place_code),
                               jsonb_build_object('place', place_code));
    END IF;
    RETURN found_place;
END $$;

CREATE FUNCTION custody_rule_of(a_kind text) RETURNS custody_rule
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    rule custody_rule;
BEGIN
    SELECT * INTO rule FROM custody_rule WHERE kind = a_kind;
    IF NOT FOUND THEN
        PERFORM custody_refuse('unknown_kind', format('There is no kind of operation %s.', a_kind),
                               jsonb_build_object('kind', a_kind));
    END IF;
    RETURN rule;
END $$;

-- I12: past its tolerance a step needs a second person's word. Precious metals are watched against what went in
-- (for the finish of a run: what was charged into it); gross only for unweighed water or gas.
CREATE FUNCTION custody_check_tolerance(op custody_operation, rule custody_rule, taken bigint[], lines custody_line[])
RETURNS custody_operation
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    metals text[] := ARRAY['Au', 'Ag', 'Pt', 'Pd'];
    line custody_line;
    losses bigint[] := '{0,0,0,0,0,0}';
    gains bigint[] := '{0,0,0,0,0,0}';
    lost bigint;
    gained bigint := 0;
    worst text;
    poor boolean;
    beyond text;
BEGIN
    FOREACH line IN ARRAY lines LOOP
        IF line.side = 'loss' AND rule.kind = 'clean out' AND line.what <> 'measurement difference' THEN
            -- What a clean-out finds again was declared when it was lost; only what exceeds that is a gain.
            FOR c IN 2..5 LOOP
                losses[c] := losses[c] + greatest(line.amounts[c], 0);
                CONTINUE WHEN line.amounts[c] >= 0;
                gains[c] := gains[c] + greatest(-line.amounts[c] - (SELECT coalesce(sum(s.mg), 0)
                    FROM custody_lost_since(line.what) s WHERE s.column_no = c - 1), 0);
            END LOOP;
        ELSIF line.side = 'loss' AND line.what <> 'sample consumed' THEN
            FOR c IN 2..5 LOOP
                losses[c] := losses[c] + greatest(line.amounts[c], 0);
                gains[c] := gains[c] - least(line.amounts[c], 0);
            END LOOP;
        ELSIF line.side = 'add' AND line.what = 'unweighed water or gas' THEN
            gained := gained + line.amounts[1];
        END IF;
    END LOOP;
    FOR c IN 2..5 LOOP
        lost := greatest(losses[c], gains[c]);
        IF lost > rule.grace_mg AND lost::numeric * 1000000 > rule.tolerance_ppm::numeric * taken[c] THEN
            worst := coalesce(worst, metals[c - 1]);
        ELSIF lost > rule.grace_mg AND lost::numeric * 1000000 > rule.band_ppm::numeric * taken[c] THEN
            beyond := coalesce(beyond, metals[c - 1]);
        END IF;
    END LOOP;
    IF gained::numeric * 1000000 > rule.gain_ppm::numeric * greatest(taken[1], 1) THEN
        worst := coalesce(worst, 'gross');
    END IF;
    IF op.kind = 'difference' THEN
        worst := coalesce(worst, 'the book');
    END IF;
    poor := worst IS NULL AND custody_poor_yield(op, rule, taken, lines);
    op.over_tolerance := worst IS NOT NULL OR poor;
    IF NOT op.over_tolerance AND beyond IS NOT NULL AND op.reason = '' AND op.source = 'live' THEN
        PERFORM custody_refuse('outside_band', format('%s is outside the usual loss of %s.', beyond, rule.kind),
            jsonb_build_object('metal', beyond, 'kind', rule.kind, 'band_ppm', rule.band_ppm));
    ELSIF poor AND op.countersigned_by_id IS NULL AND op.source <> 'history' THEN
        PERFORM custody_refuse('poor_yield', format('%s yields less %s than it should.', rule.kind, rule.product_metal),
            jsonb_build_object('metal', rule.product_metal, 'kind', rule.kind, 'least_ppm', rule.least_yield_ppm));
    ELSIF op.over_tolerance AND op.countersigned_by_id IS NULL AND op.source <> 'history' THEN
        PERFORM custody_refuse('countersignature_needed',
            format('%s is past the tolerance of %s: a second person countersigns with a reason.', worst, rule.kind),
            jsonb_build_object('metal', worst, 'kind', rule.kind, 'tolerance_ppm', rule.tolerance_ppm));
    END IF;
    IF op.countersigned_by_id IS NOT NULL THEN
        IF op.countersigned_by_id = op.by_id THEN
            PERFORM custody_refuse('countersigned_by_another', 'Nobody countersigns for himself.', '{}');
        ELSIF NOT EXISTS (SELECT FROM custody_rolegrant
                           WHERE user_id = op.countersigned_by_id AND role = 'manager') THEN
            PERFORM custody_refuse('countersigner_right', 'Only a manager countersigns.', '{}');
        ELSIF op.reason = '' THEN
            PERFORM custody_refuse('reason_needed', 'A countersigned step needs a reason.', '{}');
        END IF;
    END IF;
    RETURN op;
END $$;

-- Whether a step yields less of its product than it should. For the finish of a run what was drawn counts, at its
-- assay where it has one.
CREATE FUNCTION custody_poor_yield(op custody_operation, rule custody_rule, taken bigint[], lines custody_line[])
RETURNS boolean
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    c int := array_position(ARRAY['gross', 'Au', 'Ag', 'Pt', 'Pd', 'Cu'], rule.product_metal::text);
    line custody_line;
    made numeric := 0;
BEGIN
    IF rule.least_yield_ppm = 0 OR taken[c] = 0 THEN
        RETURN false;
    END IF;
    FOREACH line IN ARRAY lines LOOP
        IF line.side = 'out' AND line.detail ->> 'form' = ANY (rule.product_forms) THEN
            made := made + line.amounts[c];
        END IF;
    END LOOP;
    IF op.run_id IS NOT NULL THEN
        made := made + custody_drawn(op.run_id, c, rule.product_forms);
    END IF;
    RETURN taken[c] - made > rule.grace_mg AND made * 1000000 < rule.least_yield_ppm::numeric * taken[c];
END $$;

-- What was drawn of a run in these forms: milligrams of one column, with what assays and corrections changed since.
CREATE FUNCTION custody_drawn(of_run bigint, c int, forms text[]) RETURNS numeric
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT coalesce(sum((custody_columns(m))[c] + coalesce(later.mg, 0)), 0)
      FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id AND m.side = 'out'
      JOIN custody_lot l ON l.id = m.lot_id
      LEFT JOIN LATERAL (
           SELECT sum(CASE w.side WHEN 'out' THEN 1 ELSE -1 END * (custody_columns(w))[c]) AS mg
             FROM custody_movement w JOIN custody_operation k ON k.id = w.operation_id
            WHERE w.lot_id = l.id AND w.side IN ('in', 'out') AND k.kind IN ('value', 'difference')
              AND NOT EXISTS (SELECT FROM custody_operation y WHERE y.reverses_id = k.id)) later ON true
     WHERE o.run_id = of_run AND o.kind = 'draw' AND l.form = ANY (forms)
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id)
$$;

CREATE FUNCTION custody_check_balance(op custody_operation, lines custody_line[]) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    came bigint[] := custody_sum(lines, ARRAY['in', 'add']);
    went bigint[] := custody_sum(lines, ARRAY['out', 'loss']);
BEGIN
    IF came <> went THEN
        PERFORM custody_refuse('balance', 'In + added does not equal out + declared losses.',
            jsonb_build_object('operation', op.number, 'missing_mg', jsonb_build_object(
                'gross', came[1] - went[1], 'Au', came[2] - went[2], 'Ag', came[3] - went[3],
                'Pt', came[4] - went[4], 'Pd', came[5] - went[5], 'Cu', came[6] - went[6])));
    END IF;
END $$;

-- The numbers of the lots that an operation made, in its order.
CREATE FUNCTION custody_outputs(of_operation bigint) RETURNS text[]
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT ARRAY(SELECT l.number FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id
                  WHERE m.operation_id = of_operation AND m.side = 'out' ORDER BY m.line)
$$;

CREATE FUNCTION custody_seal(op custody_operation, lines int) RETURNS jsonb
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    op.movement_count := lines;
    op.canonical := custody_canonical(op);
    op.sha256 := sha256(convert_to(op.canonical, 'UTF8'));
    PERFORM custody_check_places(op);
    INSERT INTO custody_operation SELECT op.*;
    RETURN jsonb_build_object('id', op.id, 'number', op.number, 'replayed', false, 'lots', custody_outputs(op.id));
END $$;
