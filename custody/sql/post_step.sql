-- Runs: charge, draw, finish. Gives the operation its run.
CREATE FUNCTION custody_of_run(op custody_operation, request jsonb, lots custody_lot[], outs custody_line[])
RETURNS custody_operation
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    content custody_lot;
    vessel bigint;
    contents int := 0;
    l custody_lot;
BEGIN
    FOREACH l IN ARRAY lots LOOP
        IF l.form = 'in process' THEN
            content := l;
            contents := contents + 1;
        END IF;
    END LOOP;
    IF contents > 1 OR (op.kind IN ('draw', 'finish') AND (contents = 0 OR cardinality(lots) > 1)) THEN
        PERFORM custody_refuse('run', format('A %s takes the content of one vessel.', op.kind), '{}');
    ELSIF op.kind = 'charge' THEN
        IF cardinality(outs) <> 1 OR outs[1].detail ->> 'form' <> 'in process'
                OR outs[1].detail ->> 'place_id' IS NULL THEN
            PERFORM custody_refuse('run', 'A charge makes one content, in process, in a vessel.', '{}');
        END IF;
        vessel := (outs[1].detail ->> 'place_id')::bigint;
        IF contents = 1 AND content.place_id <> vessel THEN
            PERFORM custody_refuse('run', 'A charge keeps the content in its vessel.', '{}');
        ELSIF EXISTS (SELECT FROM custody_lot WHERE place_id = vessel AND form = 'in process' AND gross_mg > 0
                      AND id IS DISTINCT FROM content.id) THEN
            PERFORM custody_refuse('vessel_holds_content', 'The vessel holds a content: charge it together.', '{}');
        END IF;
    END IF;
    op.run_id := content.run_id;
    IF op.kind = 'charge' AND contents = 0 AND NOT EXISTS (SELECT FROM custody_rule WHERE hours > 0
            AND kind = coalesce(request ->> 'step', 'dissolve') AND kind NOT IN ('charge', 'draw', 'finish')) THEN
        -- The finish is judged by the step's rule: one that may lose everything would let everything go.
        PERFORM custody_refuse('run', format('%s is no step that a vessel is charged for.', request ->> 'step'), '{}');
    ELSIF op.kind = 'charge' AND contents = 0 THEN
        INSERT INTO custody_run (number, step, vessel_id, opened_by_id, content_id)
        VALUES (custody_number('RUN', 'custody_number_run', op.at), coalesce(request ->> 'step', 'dissolve'),
                vessel, op.id, outs[1].lot_id) RETURNING id INTO op.run_id;
    ELSIF op.kind = 'charge' THEN
        UPDATE custody_run SET content_id = outs[1].lot_id WHERE id = op.run_id;
    END IF;
    RETURN op;
END $$;

-- A recovery counts what was lost before it: it waits for the losses under way, and they for it. After the lots.
CREATE FUNCTION custody_lock_losses(alone boolean) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF alone THEN
        PERFORM pg_advisory_xact_lock(1055, 1);
    ELSE
        PERFORM pg_advisory_xact_lock_shared(1055, 1);
    END IF;
END $$;

-- The last standing recovery from losses by a cause; a reversal's turned sign is none.
CREATE FUNCTION custody_last_recovery(of_cause text) RETURNS bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT max(r.id) FROM custody_movement r JOIN custody_operation o ON o.id = r.operation_id
     WHERE r.side = 'loss' AND r.what = of_cause AND least(r.au_mg, r.ag_mg, r.pt_mg, r.pd_mg, r.cu_mg) < 0
       AND o.kind <> 'reverse' AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id)
$$;

-- Metal recovered after all from a declared loss carries the origins lost there since the last recovery.
CREATE FUNCTION custody_lost_since(of_cause text)
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT t.column_no, t.origin, sum(t.mg)::bigint
      FROM custody_movement m, LATERAL custody_content(m.id, custody_columns(m), true) t
     WHERE m.side = 'loss' AND m.what = of_cause AND m.id > coalesce(custody_last_recovery(of_cause), 0)
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.id = m.operation_id AND x.kind = 'reverse'
                          OR x.reverses_id = m.operation_id)
     GROUP BY t.column_no, t.origin
$$;

-- Gains and recoveries join the pool first. Gives what they bring (columns, origins, milligrams) and the losses with
-- the part of a recovery that exceeds what was lost split off as a difference.
CREATE TYPE custody_gains AS (columns int[], origins bigint[], mgs bigint[], lines custody_line[]);
CREATE FUNCTION custody_gather_gains(op custody_operation, losses custody_line[], first_line int) RETURNS custody_gains
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    g custody_gains := ROW('{}', '{}', '{}', '{}');
    line custody_line;
    excess bigint[] := '{0,0,0,0,0,0}';
    difference bigint[] := '{0,0,0,0,0,0}';
    found_lost record;
    back bigint[];
    recovered custody_pool[];
    mid_origin bigint;
BEGIN
    FOREACH line IN ARRAY losses LOOP
        IF line.what <> 'measurement difference' AND least(line.amounts[2], line.amounts[3], line.amounts[4],
                line.amounts[5], line.amounts[6]) < 0 THEN
            excess := '{0,0,0,0,0,0}';
            recovered := array_fill(NULL::custody_pool, ARRAY[6]);
            FOR c IN 2..6 LOOP
                CONTINUE WHEN line.amounts[c] >= 0;
                SELECT array_agg(origin ORDER BY origin) AS origins, array_agg(mg ORDER BY origin) AS mgs,
                       coalesce(sum(mg), 0)::bigint AS total INTO found_lost
                  FROM custody_lost_since(line.what) WHERE column_no = c - 1;
                excess[c] := greatest(-line.amounts[c] - found_lost.total, 0);
                line.amounts[c] := line.amounts[c] + excess[c];
                CONTINUE WHEN line.amounts[c] = 0;
                back := custody_apportion(-line.amounts[c], found_lost.mgs);
                recovered[c] := ROW((SELECT array_agg(o ORDER BY o) FROM unnest(found_lost.origins, back) u(o, mg) WHERE mg > 0),
                    (SELECT array_agg(mg ORDER BY o) FROM unnest(found_lost.origins, back) u(o, mg) WHERE mg > 0))::custody_pool;
                FOR i IN 1..cardinality(back) LOOP
                    g.columns := g.columns || (c - 1);
                    g.origins := g.origins || found_lost.origins[i];
                    g.mgs := g.mgs || back[i];
                END LOOP;
            END LOOP;
            PERFORM custody_store_vectors(op.id, first_line + cardinality(g.lines), recovered, false);
            FOR c IN 2..6 LOOP difference[c] := difference[c] - excess[c]; END LOOP;
        END IF;
        g.lines := g.lines || line;
    END LOOP;
    IF difference <> '{0,0,0,0,0,0}' THEN
        g.lines := g.lines || ROW('loss', NULL, NULL, 'measurement difference', 'more recovered than was lost',
                                  difference, false, true, '{}'::jsonb)::custody_line;
    END IF;
    FOREACH line IN ARRAY g.lines LOOP
        IF line.what = 'measurement difference' AND least(line.amounts[2], line.amounts[3], line.amounts[4],
                line.amounts[5], line.amounts[6]) < 0 THEN
            mid_origin := custody_gain(op, ARRAY[0, greatest(-line.amounts[2], 0), greatest(-line.amounts[3], 0),
                greatest(-line.amounts[4], 0), greatest(-line.amounts[5], 0), greatest(-line.amounts[6], 0)]);
            FOR c IN 2..6 LOOP
                CONTINUE WHEN line.amounts[c] >= 0;
                g.columns := g.columns || (c - 1);
                g.origins := g.origins || mid_origin;
                g.mgs := g.mgs || -line.amounts[c];
            END LOOP;
        END IF;
    END LOOP;
    RETURN g;
END $$;

-- Records a balanced set of lines over locked lots: everything after the checks.
CREATE FUNCTION custody_record(op custody_operation, ins custody_line[], lots custody_lot[], rest custody_line[],
    losses custody_line[], mix custody_mixture) RETURNS jsonb
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    taken custody_movement[] := custody_record_ins(op, ins, lots);
    g custody_gains := custody_gather_gains(op, losses, cardinality(ins) + cardinality(rest) + 1);
    m custody_movement;
    pools custody_pool[];
    sole bigint := (taken[1]).origin_id;
    grown bigint;
BEGIN
    FOREACH m IN ARRAY taken LOOP
        sole := CASE WHEN m.origin_id = sole AND cardinality(g.columns) = 0 THEN sole END;
    END LOOP;
    -- What leaves by the gate stays with its in lines; nothing else shares it.
    IF sole IS NULL AND op.kind <> 'dispatch' THEN
        pools := custody_pool_of(taken, g.columns, g.origins, g.mgs);
        IF (pools[1]).origins IS NOT NULL THEN
            -- Unvalued: origins go by gross, and flux takes part in their proportion.
            SELECT coalesce(sum(amounts[1]), 0) INTO grown FROM unnest(rest || g.lines)
             WHERE side IN ('out', 'loss') AND amounts[1] > 0;
            pools[1] := ROW((pools[1]).origins, custody_apportion(grown, (pools[1]).mgs))::custody_pool;
        END IF;
    END IF;
    PERFORM custody_record_outs(op, taken, rest || g.lines, pools, sole, mix);
    IF op.kind NOT IN ('value', 'difference') AND mix.several_owners THEN
        PERFORM custody_claim_titles(op, ARRAY(SELECT t.id FROM unnest(taken) t));
    END IF;
    RETURN custody_seal(op, cardinality(ins) + cardinality(rest) + cardinality(g.lines));
END $$;

-- Every output's number, lot id, place and custodian, before anything is written.
CREATE FUNCTION custody_ready_output(op custody_operation, line custody_line, default_place bigint) RETURNS custody_line
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    line.lot_id := nextval('custody_lot_id_seq');
    line.number := coalesce(line.number, custody_number('L', 'custody_number_lot', op.at));
    IF EXISTS (SELECT FROM custody_lot WHERE number = line.number) THEN
        PERFORM custody_refuse('lot_taken', format('There is a lot %s already.', line.number),
                               jsonb_build_object('lot', line.number));
    END IF;
    line.detail := line.detail || jsonb_build_object('custodian_id', op.by_id, 'place_id',
        coalesce(custody_place(coalesce(line.detail ->> 'vessel', line.detail ->> 'place'), op.place_id), default_place));
    RETURN line;
END $$;

-- All steps of the plant, and divide, dispatch and difference.
CREATE FUNCTION custody_post_step(op custody_operation, rule custody_rule, request jsonb) RETURNS jsonb
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    wants jsonb := coalesce(request -> 'inputs', '[]');
    lots custody_lot[];
    ins custody_line[] := '{}';
    rest custody_line[] := '{}';
    losses custody_line[] := '{}';
    mix custody_mixture;
    line custody_line;
    entry jsonb;
    base bigint[];
    makes int := 0;
    contents int := 0;
    recovered text[] := '{}';
    continues boolean := op.kind = 'difference';
BEGIN
    IF jsonb_array_length(wants) = 0 AND op.kind <> 'clean out' THEN
        PERFORM custody_refuse('no_inputs', format('A %s takes at least one lot.', op.kind), '{}');
    ELSIF jsonb_array_length(wants) = 0 AND op.place_id IS NULL THEN
        PERFORM custody_refuse('unknown_place', 'A clean-out says where.', jsonb_build_object('place', ''));
    END IF;
    lots := custody_lock_lots(ARRAY(SELECT jsonb_array_elements(wants) ->> 'lot'));
    FOR i IN 1..cardinality(lots) LOOP
        PERFORM custody_check_lot(op, lots[i], NOT continues);
        ins := ins || custody_take(op, lots[i], wants -> (i - 1));
    END LOOP;
    FOR i IN 1..cardinality(lots) LOOP
        CONTINUE WHEN (lots[i]).form <> 'bar' OR continues;
        PERFORM custody_check_boxed(op, lots[i], (ins[i]).whole, lots);
    END LOOP;
    IF op.kind = 'discharge' AND op.source <> 'history' THEN
        PERFORM custody_check_discharge(op, lots);
    END IF;
    mix := custody_mixture_of(lots);
    IF op.kind <> 'dispatch' THEN
        PERFORM custody_check_mixing(lots);
        IF cardinality(lots) > 1 AND (SELECT count(DISTINCT l.valued) FROM unnest(lots) l) > 1 THEN
            PERFORM custody_refuse('not_valued', 'Valued and unvalued lots are not worked together.', '{}');
        END IF;
    END IF;
    FOR i IN 1..coalesce(jsonb_array_length(request -> 'additions'), 0) LOOP
        rest := rest || custody_read_addition(rule, request -> 'additions' -> (i - 1));
    END LOOP;
    FOR i IN 1..coalesce(jsonb_array_length(request -> 'outputs'), 0) LOOP
        entry := request -> 'outputs' -> (i - 1);
        line := custody_read_output(op, entry, NOT mix.valued);
        IF cardinality(lots) = 0 AND op.source <> 'history' AND line.amounts[2:6] <> '{0,0,0,0,0}' THEN
            PERFORM custody_refuse('not_valued', 'What a clean-out gathers has no metal until its assay is accepted.',
                jsonb_build_object('lot', coalesce(line.number, 'what was gathered')));
        END IF;
        IF continues THEN
            line.lot_id := (lots[1]).id;
            line.number := (lots[1]).number;
            line.detail := entry || jsonb_build_object('continues', true, 'custodian_id', (lots[1]).custodian_id,
                                                       'place_id', (lots[1]).place_id);
        ELSE
            line := custody_ready_output(op, line, (lots[1]).place_id);
        END IF;
        rest := rest || line;
        makes := makes + 1;
        contents := contents + (line.detail ->> 'form' = 'in process')::int;
    END LOOP;
    FOR i IN 1..coalesce(jsonb_array_length(request -> 'losses'), 0) LOOP
        line := custody_read_loss(rule, request -> 'losses' -> (i - 1));
        IF op.source = 'live' AND line.what = 'effluent' AND op.kind NOT IN ('discharge', 'clean out')
                AND greatest(line.amounts[2], line.amounts[3], line.amounts[4], line.amounts[5], line.amounts[6]) > 0 THEN
            PERFORM custody_refuse('effluent_undischarged', 'Metal leaves with water by a discharge alone.', '{}');
        END IF;
        losses := losses || line;
        CONTINUE WHEN line.what = 'measurement difference' OR least(line.amounts[2], line.amounts[3], line.amounts[4],
            line.amounts[5], line.amounts[6]) >= 0;
        IF line.what = ANY (recovered) THEN
            -- Each line would be given the same origins: what was lost once would be found twice.
            PERFORM custody_refuse('cause', format('What was lost by %s is found again in one line, not in two.', line.what),
                                   jsonb_build_object('kind', rule.kind, 'cause', line.what));
        END IF;
        recovered := recovered || line.what;
    END LOOP;
    IF cardinality(losses) > 0 THEN
        PERFORM custody_lock_losses(cardinality(recovered) > 0);
    END IF;
    IF op.kind = 'discharge' AND op.source <> 'history' AND (cardinality(rest) > 0 OR EXISTS (
            SELECT FROM unnest(losses) u WHERE u.what <> 'effluent')) THEN
        -- Its metal goes with the water as it was assayed: nobody keeps it back on paper.
        PERFORM custody_refuse('cause', 'A discharge makes nothing and takes nothing in: all of it leaves as effluent.',
                               jsonb_build_object('kind', op.kind));
    ELSIF op.kind = 'dispatch' THEN
        IF op.party_id IS NULL OR cardinality(rest || losses) > 0 THEN
            PERFORM custody_refuse('dispatch', 'A dispatch names a party and has no outputs.', '{}');
        END IF;
        rest := rest || ROW('out', NULL, NULL, 'dispatched', '', custody_sum(ins, ARRAY['in']), false, true,
                            '{}'::jsonb)::custody_line;
    ELSIF continues AND (cardinality(lots) > 1 OR NOT (ins[1]).whole OR cardinality(rest) <> 1) THEN
        PERFORM custody_refuse('difference', 'A difference corrects one whole lot.', '{}');
    ELSIF makes = 0 AND op.kind NOT IN ('discharge', 'finish', 'sample', 'draw') THEN
        PERFORM custody_refuse('no_outputs', format('A %s makes at least one lot.', op.kind), '{}');
    END IF;
    IF contents > 0 AND op.kind <> 'charge' AND NOT continues THEN
        PERFORM custody_refuse('run', 'Only a charge makes a content in process.', '{}');
    ELSIF op.kind = 'finish' AND NOT (ins[1]).whole THEN
        PERFORM custody_refuse('run', 'A finish takes the whole content.', '{}');
    ELSIF op.kind IN ('charge', 'draw', 'finish') THEN
        op := custody_of_run(op, request, lots, ARRAY(SELECT r FROM unnest(rest) r WHERE r.side = 'out'));
    END IF;
    PERFORM custody_check_balance(op, ins || rest || losses);
    base := custody_sum(ins || rest, ARRAY['in', 'add']);
    IF op.kind = 'finish' OR (op.kind = 'draw' AND (ins[1]).whole) THEN
        rule := custody_rule_of((SELECT step FROM custody_run WHERE id = op.run_id));
        base := custody_charged(op.run_id);
    END IF;
    op := custody_check_tolerance(op, rule, base, rest || losses);
    IF op.kind = 'dispatch' THEN
        PERFORM custody_check_gate(op, coalesce(request ->> 'against', 'sale'), ins, lots);
        PERFORM custody_record_collection(op, coalesce(request ->> 'against', 'sale'), request -> 'collection');
    END IF;
    IF op.kind = 'finish' OR (op.kind = 'draw' AND (ins[1]).whole) THEN
        UPDATE custody_run SET finished_by_id = op.id WHERE id = op.run_id;
    END IF;
    IF op.kind = 'sample' THEN
        PERFORM custody_record_samples(rest);
    END IF;
    RETURN custody_record(op, ins, lots, rest, losses, mix);
END $$;

-- How samples were cut, for whom, under which seal: {cut, purpose, seal?, position?, witness?} of each output.
CREATE FUNCTION custody_record_samples(outs custody_line[]) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_line;
    said jsonb;
BEGIN
    FOREACH l IN ARRAY outs LOOP
        said := l.detail -> 'sample';
        CONTINUE WHEN l.side <> 'out' OR said IS NULL;
        IF l.detail ->> 'form' <> 'sample'
                OR NOT coalesce(said ->> 'cut' IN ('pin', 'drill', 'dip', 'granules')
                                AND said ->> 'purpose' IN ('laboratory', 'customer', 'umpire', 'reserve'), false) THEN
            PERFORM custody_refuse('sample', 'A sample says how it was cut and whom it is for.',
                                   jsonb_build_object('lot', l.number));
        END IF;
        INSERT INTO custody_sample (lot_id, cut, purpose, seal, position, witness)
        VALUES (l.lot_id, said ->> 'cut', said ->> 'purpose', coalesce(said ->> 'seal', ''),
                coalesce(said ->> 'position', ''), coalesce(said ->> 'witness', ''));
    END LOOP;
END $$;

-- What was charged into a run, contents recharged not counted twice.
CREATE FUNCTION custody_charged(of_run bigint) RETURNS bigint[]
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT ARRAY[coalesce(sum(m.gross_mg), 0), coalesce(sum(m.au_mg), 0), coalesce(sum(m.ag_mg), 0),
                 coalesce(sum(m.pt_mg), 0), coalesce(sum(m.pd_mg), 0), coalesce(sum(m.cu_mg), 0)]::bigint[]
      FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id LEFT JOIN custody_lot l ON l.id = m.lot_id
     WHERE o.run_id = of_run AND o.kind = 'charge' AND m.side IN ('in', 'add') AND l.form IS DISTINCT FROM 'in process'
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id)
$$;
