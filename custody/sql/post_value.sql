-- Valuation: the operation that gives a lot its fine metal from an accepted assay.

-- fine = gross × ppm / 10⁶, half to even, once.
CREATE FUNCTION custody_half_even(numerator numeric, denominator numeric) RETURNS bigint
LANGUAGE sql IMMUTABLE AS $$
    SELECT (q + CASE WHEN 2 * r > denominator OR (2 * r = denominator AND q % 2 = 1) THEN 1 ELSE 0 END)::bigint
      FROM (SELECT div(numerator, denominator) AS q, mod(numerator, denominator) AS r) d
$$;

-- The metals that a lot is given: a past record or the API names them; live ones come from the determination itself.
CREATE FUNCTION custody_value_of(op custody_operation, l custody_lot, request jsonb) RETURNS bigint[]
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    d custody_determination;
    fine bigint[];
BEGIN
    IF request ? 'solution' THEN
        fine := (custody_solution_holds(custody_solution_of(op, l, request ->> 'solution')))[2:6];
    ELSIF op.source = 'api' AND NOT l.valued AND EXISTS (SELECT FROM custody_exchange WHERE lot_id = l.id) THEN
        PERFORM custody_refuse('exchange_open', format('The assays of lot %s are exchanged.', l.number),
            jsonb_build_object('exchange', (SELECT number FROM custody_exchange WHERE lot_id = l.id)));
    ELSIF op.source = 'api' AND NOT l.valued AND custody_exchange_due(l.id) IS NOT NULL THEN
        PERFORM custody_refuse('exchange_due', format('The assays of lot %s are exchanged first.', l.number),
            jsonb_build_object('lot', l.number, 'party', (SELECT p.code FROM custody_operation r
                JOIN custody_party p ON p.id = r.party_id WHERE r.id = l.receipt_id)));
    ELSIF op.source = 'api' AND (EXISTS (SELECT FROM custody_determination t WHERE t.lot_id = l.id
            AND (t.by_id = op.by_id OR custody_worked_on(t.id, op.by_id))) OR EXISTS (
            SELECT FROM custody_worksheetpiece p JOIN custody_worksheetreading r ON r.piece_id = p.id
             WHERE p.lot_id = l.id AND r.by_id = op.by_id)) THEN
        -- Whoever assayed the lot at a desk would else accept the result through this door.
        PERFORM custody_refuse('accepted_by_another', 'Who assayed a lot does not value it.',
                               jsonb_build_object('lot', l.number));
    ELSIF op.source <> 'live' THEN
        fine := (custody_read_amounts(request))[2:6];
    ELSE
        SELECT t.* INTO d FROM custody_acceptance a JOIN custody_determination t ON t.id = a.determination_id
         WHERE a.id = op.acceptance_id;
        IF d.id IS NULL OR d.lot_id <> l.id THEN
            PERFORM custody_refuse('accepted_assay', format('Lot %s is valued by its own accepted assay.', l.number),
                                   jsonb_build_object('lot', l.number));
        END IF;
        fine := ARRAY[custody_half_even(l.gross_mg::numeric * d.au_ppm, 1000000),
            custody_half_even(l.gross_mg::numeric * d.ag_ppm, 1000000),
            custody_half_even(l.gross_mg::numeric * d.pt_ppm, 1000000),
            custody_half_even(l.gross_mg::numeric * d.pd_ppm, 1000000),
            custody_half_even(l.gross_mg::numeric * d.cu_ppm, 1000000)];
        IF fine[1] + fine[2] + fine[3] + fine[4] + fine[5] > l.gross_mg THEN
            -- All metal and no rest, each rounded up: the largest remainders keep them within the gross.
            fine := (custody_apportion(l.gross_mg, ARRAY[d.au_ppm, d.ag_ppm, d.pt_ppm, d.pd_ppm, d.cu_ppm,
                1000000 - d.au_ppm - d.ag_ppm - d.pt_ppm - d.pd_ppm - d.cu_ppm]))[1:5];
        END IF;
    END IF;
    IF least(fine[1], fine[2], fine[3], fine[4], fine[5]) < 0
            OR NOT request ? 'solution' AND fine[1] + fine[2] + fine[3] + fine[4] + fine[5] > l.gross_mg THEN
        PERFORM custody_refuse('metals_over_gross', format('The metals of %s exceed its gross.', l.number),
                               jsonb_build_object('lot', l.number, 'gross_mg', l.gross_mg));
    END IF;
    RETURN fine;
END $$;

-- Samples drawn from a lot, and from its samples, that wait for its valuation.
CREATE FUNCTION custody_samples_of(of_lot bigint) RETURNS SETOF custody_lot
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    WITH RECURSIVE drawn (id) AS (
        SELECT of_lot
        UNION
        SELECT e.child_id FROM drawn d JOIN custody_edge e ON e.parent_id = d.id JOIN custody_lot c ON c.id = e.child_id
         WHERE c.form = 'sample' AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = e.operation_id))
    SELECT l.* FROM drawn d JOIN custody_lot l ON l.id = d.id WHERE d.id <> of_lot
$$;

-- Gross of samples consumed before the lot was valued: received by the valuation, and lost by it. Where samples of other
-- lots were consumed in one step, each lot has its share by what went in.
CREATE FUNCTION custody_consumed_of(of_lot bigint) RETURNS bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT coalesce(sum(custody_half_even(lost.mg * own.mg, whole.mg)), 0)::bigint
      FROM (SELECT i.operation_id, sum(i.gross_mg) AS mg FROM custody_movement i
             WHERE i.side = 'in' AND NOT i.valued
               AND i.lot_id IN (SELECT of_lot UNION ALL SELECT s.id FROM custody_samples_of(of_lot) s)
             GROUP BY i.operation_id) own,
           LATERAL (SELECT sum(m.gross_mg) AS mg FROM custody_movement m
                     WHERE m.operation_id = own.operation_id AND m.side = 'in') whole,
           LATERAL (SELECT sum(m.gross_mg) AS mg FROM custody_movement m
                     WHERE m.operation_id = own.operation_id AND m.side = 'loss' AND m.what = 'sample consumed') lost
     WHERE lost.mg > 0
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = own.operation_id)
$$;

CREATE FUNCTION custody_continue(l custody_lot, amounts bigint[]) RETURNS custody_line
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT ROW('out', l.id, l.number, '', '', amounts, false, true, jsonb_build_object('continues', true,
               'custodian_id', l.custodian_id, 'place_id', l.place_id))::custody_line
$$;

-- What an unvalued lot's origins receive: each metal in proportion to the gross that they brought.
-- With is_valued (a revaluation) in proportion to the metal that they were given before.
CREATE FUNCTION custody_receive_metal(op custody_operation, l custody_lot, totals bigint[], is_valued boolean)
RETURNS custody_pool[]
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    pools custody_pool[] := array_fill(NULL::custody_pool, ARRAY[6]);
    weights record;
    old_mgs bigint[];
    new_mgs bigint[];
    received bigint[];
    oids bigint[];
BEGIN
    FOR c IN 2..6 LOOP
        SELECT array_agg(t.origin ORDER BY t.origin) AS origins, array_agg(t.mg ORDER BY t.origin) AS mgs INTO weights
          FROM custody_content(l.content_movement, custody_columns(l), is_valued) t
         WHERE t.column_no = CASE WHEN is_valued THEN c - 1 ELSE 0 END;
        IF weights.origins IS NULL AND totals[c] > 0 THEN
            -- A metal new to the lot: in proportion to the richest metal known.
            SELECT array_agg(t.origin ORDER BY t.origin) AS origins, array_agg(t.mg ORDER BY t.origin) AS mgs INTO weights
              FROM custody_content(l.content_movement, custody_columns(l), is_valued) t
             WHERE t.column_no = (SELECT k.column_no FROM custody_content(l.content_movement, custody_columns(l),
                                  is_valued) k GROUP BY k.column_no ORDER BY sum(k.mg) DESC, k.column_no LIMIT 1);
            IF weights.origins IS NULL THEN
                SELECT ARRAY[origin_id] AS origins, '{1}'::bigint[] AS mgs INTO weights FROM custody_movement
                 WHERE id = l.content_movement;
            END IF;
            old_mgs := array_fill(0::bigint, ARRAY[cardinality(weights.origins)]);
        ELSE
            old_mgs := weights.mgs;
        END IF;
        CONTINUE WHEN weights.origins IS NULL;
        new_mgs := custody_apportion(totals[c], weights.mgs);
        IF totals[c] > 0 THEN
            pools[c] := ROW((SELECT array_agg(o ORDER BY o) FROM unnest(weights.origins, new_mgs) u(o, mg) WHERE mg > 0),
                (SELECT array_agg(mg ORDER BY o) FROM unnest(weights.origins, new_mgs) u(o, mg) WHERE mg > 0))::custody_pool;
        END IF;
        FOR i IN 1..cardinality(weights.origins) LOOP
            received := array_fill(0::bigint, ARRAY[6]);
            received[c] := new_mgs[i] - CASE WHEN is_valued THEN old_mgs[i] ELSE 0 END;
            CONTINUE WHEN received[c] = 0;
            INSERT INTO custody_originreceipt (origin_id, operation_id, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg)
            VALUES (weights.origins[i], op.id, 0, received[2], received[3], received[4], received[5], received[6]);
        END LOOP;
    END LOOP;
    RETURN pools;
END $$;

-- First valuation, with the samples drawn; or the revaluation of a lot not yet mixed with another receipt's.
CREATE FUNCTION custody_post_first_value(op custody_operation, lots custody_lot[], fine bigint[], first boolean)
RETURNS jsonb
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot := lots[1];
    ins custody_line[] := '{}';
    rest custody_line[] := '{}';
    consumed bigint := 0;
    share bigint[];
    taken custody_movement[];
    pools custody_pool[];
    sole bigint;
BEGIN
    FOR i IN 1..cardinality(lots) LOOP
        ins := ins || ROW('in', (lots[i]).id, (lots[i]).number, '', '', custody_columns(lots[i]), true, (lots[i]).valued,
                          '{}'::jsonb)::custody_line;
        -- A sample's metals follow its gross as a withdrawal's do, so that they stay within it.
        rest := rest || custody_continue(lots[i], CASE WHEN i = 1 THEN l.gross_mg || fine
            ELSE custody_withdraw(l.gross_mg || fine, (lots[i]).gross_mg) END);
    END LOOP;
    IF first THEN
        consumed := custody_consumed_of(l.id);
    END IF;
    IF consumed > 0 THEN
        PERFORM custody_lock_losses(false);
        rest := rest || ROW('loss', NULL, NULL, 'sample consumed', 'consumed before valuation', 0::bigint ||
            (custody_withdraw(l.gross_mg || fine, consumed))[2:6], false, true, '{}'::jsonb)::custody_line;
    END IF;
    share := custody_sum(rest, ARRAY['out', 'loss']);
    pools := custody_receive_metal(op, l, share, NOT first);
    SELECT origin_id INTO sole FROM custody_movement WHERE id = l.content_movement;
    taken := custody_record_ins(op, ins, lots);
    rest := rest || ROW('add', NULL, NULL, 'valuation', '', ARRAY(SELECT s - i FROM unnest(share,
        custody_sum(ins, ARRAY['in'])) WITH ORDINALITY u(s, i, j) ORDER BY j), false, true, '{}'::jsonb)::custody_line;
    PERFORM custody_record_outs(op, taken, rest, CASE WHEN sole IS NULL THEN pools END, sole, NULL);
    RETURN custody_seal(op, cardinality(ins) + cardinality(rest));
END $$;

-- The open run's content from which this lot was drawn, both unused since; NULL otherwise. A valuation is no use, and
-- what was reversed neither; but an assay of the content itself says what it holds, and nothing moves into it after.
CREATE FUNCTION custody_drawn_from(l custody_lot) RETURNS text
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT c.number FROM custody_operation o
      JOIN custody_run r ON r.id = o.run_id AND r.finished_by_id IS NULL
      JOIN custody_movement i ON i.operation_id = o.id AND i.side = 'in'
      JOIN custody_lot c ON c.id = i.lot_id AND c.id = r.content_id AND c.gross_mg > 0
     WHERE o.id = l.created_by_id AND o.kind = 'draw'
       AND NOT EXISTS (SELECT FROM custody_movement u JOIN custody_operation k ON k.id = u.operation_id
                        WHERE u.lot_id IN (c.id, l.id) AND u.id > i.id AND k.id <> o.id
                          AND (k.kind NOT IN ('value', 'reverse') OR EXISTS (SELECT FROM custody_solutionacceptance a
                               JOIN custody_solutionassay s ON s.id = a.assay_id WHERE a.operation_id = k.id AND s.lot_id = c.id))
                          AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = k.id))
$$;

-- Whether an assay of a lot was accepted before a movement, and stands.
CREATE FUNCTION custody_valued_before(of_lot bigint, movement bigint) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT EXISTS (SELECT FROM custody_movement v JOIN custody_operation o ON o.id = v.operation_id AND o.kind = 'value'
                    WHERE v.lot_id = of_lot AND v.side = 'out' AND (movement IS NULL OR v.id < movement)
                      AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id))
$$;

-- The cause under which a clean-out gathered a lot from nothing in the book, or what it was made of alone before any
-- assay; NULL for any other lot.
CREATE FUNCTION custody_cleaned_out(l custody_lot) RETURNS text
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    WITH RECURSIVE up (operation_id) AS (
        SELECT l.created_by_id
        UNION
        SELECT p.created_by_id FROM up JOIN custody_movement i ON i.operation_id = up.operation_id AND i.side = 'in'
          JOIN custody_lot p ON p.id = i.lot_id
         WHERE i.valued AND i.au_mg + i.ag_mg + i.pt_mg + i.pd_mg + i.cu_mg = 0
           AND NOT EXISTS (SELECT FROM custody_movement k WHERE k.operation_id = i.operation_id AND k.side = 'in' AND k.id <> i.id)
           AND NOT custody_valued_before(p.id, i.id))
    SELECT m.what FROM up JOIN custody_operation o ON o.id = up.operation_id AND o.kind = 'clean out'
      JOIN custody_movement m ON m.operation_id = o.id AND m.side = 'loss'
     WHERE NOT EXISTS (SELECT FROM custody_movement i WHERE i.operation_id = o.id AND i.side = 'in')
     ORDER BY m.line LIMIT 1
$$;

-- Whether a lot is what a clean-out gathered and nobody assayed: what it holds is not known, though the book has it
-- without metal.
CREATE FUNCTION custody_unassayed(l custody_lot) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT l.au_mg + l.ag_mg + l.pt_mg + l.pd_mg + l.cu_mg = 0 AND custody_cleaned_out(l) IS NOT NULL
       AND NOT custody_valued_before(l.id, NULL)
$$;

-- The lots that a valuation touches, the valued one first: with an unvalued lot and with what a clean-out gathered its
-- samples, with a drawn one the content.
CREATE FUNCTION custody_valued_together(lot_number text) RETURNS text[]
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT ARRAY[lot_number] || coalesce((SELECT CASE
            WHEN custody_cleaned_out(l) IS NOT NULL AND l.au_mg + l.ag_mg + l.pt_mg + l.pd_mg + l.cu_mg = 0
            THEN ARRAY(SELECT s.number::text FROM custody_samples_of(l.id) s WHERE s.gross_mg > 0 ORDER BY s.id)
            WHEN l.valued THEN array_remove(ARRAY[custody_drawn_from(l)], NULL)
            ELSE ARRAY(SELECT s.number::text FROM custody_samples_of(l.id) s WHERE s.gross_mg > 0 AND NOT s.valued
                        ORDER BY s.id) END
      FROM custody_lot l WHERE l.number = lot_number), '{}')
$$;

-- Whether a second assay corrects what was received: the lot is one receipt's alone, out of no run, its origins known.
CREATE FUNCTION custody_corrects_receipt(l custody_lot) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT l.receipt_id IS NOT NULL
       AND (SELECT kind FROM custody_operation WHERE id = l.created_by_id) NOT IN ('charge', 'draw', 'finish')
       AND (l.au_mg + l.ag_mg + l.pt_mg + l.pd_mg + l.cu_mg > 0
            OR (SELECT origin_id FROM custody_movement WHERE id = l.content_movement) IS NOT NULL)
$$;

-- What moves between a drawn lot and its content when the drawn lot is assayed: what stays in the content, and as gap what
-- the content lacks (a gain, negative) or cannot hold within its gross (a loss).
CREATE FUNCTION custody_move_metal(content custody_lot, drawn custody_lot, fine bigint[], OUT left_in bigint[],
    OUT gap bigint[])
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    back bigint[] := '{0,0,0,0,0}';
    over bigint[];
BEGIN
    left_in := custody_columns(content);
    gap := '{0,0,0,0,0,0}';
    FOR c IN 2..6 LOOP
        back[c - 1] := greatest((custody_columns(drawn))[c] - fine[c - 1], 0);
        left_in[c] := left_in[c] + (custody_columns(drawn))[c] - fine[c - 1];
        gap[c] := least(left_in[c], 0);
        left_in[c] := greatest(left_in[c], 0);
    END LOOP;
    IF left_in[2] + left_in[3] + left_in[4] + left_in[5] + left_in[6] > left_in[1] THEN
        over := custody_apportion(left_in[2] + left_in[3] + left_in[4] + left_in[5] + left_in[6] - left_in[1], back);
        FOR c IN 2..6 LOOP
            left_in[c] := left_in[c] - over[c - 1];
            gap[c] := gap[c] + over[c - 1];
        END LOOP;
    END IF;
END $$;

CREATE FUNCTION custody_post_value(op custody_operation, rule custody_rule, request jsonb) RETURNS jsonb
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    numbers text[];
    lots custody_lot[];
    fine bigint[];
    ins custody_line[] := '{}';
    rest custody_line[] := '{}';
    gap bigint[] := '{0,0,0,0,0,0}';
    left_in bigint[];
    gross bigint;
    losses custody_line[];
    answer jsonb;
BEGIN
    numbers := custody_valued_together(request ->> 'lot');
    lots := custody_lock_lots(numbers);
    IF numbers <> custody_valued_together(request ->> 'lot') THEN
        PERFORM custody_refuse('busy', 'Another operation worked one of these lots just now.', '{}');
    END IF;
    FOR i IN 1..cardinality(lots) LOOP
        PERFORM custody_check_lot(op, lots[i], false);
    END LOOP;
    l := lots[1];
    IF request ? 'solution' THEN
        -- Whoever adds a figure to the assay meanwhile is waited for, or waits and is refused.
        PERFORM pg_advisory_xact_lock(hashtextextended(format('solution assay %s',
            (SELECT id FROM custody_solutionassay WHERE number = request ->> 'solution')), 0));
    END IF;
    fine := custody_value_of(op, l, request);
    gross := l.gross_mg;
    IF request ? 'solution' THEN
        gross := (SELECT (custody_solution_holds(s))[1] FROM custody_solutionassay s WHERE number = request ->> 'solution');
        IF fine[1] + fine[2] + fine[3] + fine[4] + fine[5] > gross THEN
            PERFORM custody_refuse('solution', format('By this assay the metals of solution %s weigh more than it does.', l.number),
                                   jsonb_build_object('lot', l.number));
        END IF;
    ELSIF NOT l.valued OR (cardinality(lots) = 1 AND custody_corrects_receipt(l)) THEN
        RETURN custody_post_first_value(op, lots, fine, NOT l.valued);
    END IF;
    FOR i IN 1..cardinality(lots) LOOP
        ins := ins || ROW('in', (lots[i]).id, (lots[i]).number, '', '', custody_columns(lots[i]), true, true,
                          '{}'::jsonb)::custody_line;
    END LOOP;
    rest := rest || custody_continue(l, gross || fine);
    IF cardinality(lots) > 1 AND custody_cleaned_out(l) IS NULL THEN
        SELECT * INTO left_in, gap FROM custody_move_metal(lots[2], l, fine);
        rest := rest || custody_continue(lots[2], left_in);
    ELSE
        FOR c IN 2..6 LOOP
            gap[c] := (custody_columns(l))[c] - fine[c - 1];
        END LOOP;
        FOR i IN 2..cardinality(lots) LOOP
            -- Samples of what a clean-out gathered: their metals follow their gross.
            left_in := custody_withdraw(l.gross_mg || fine, (lots[i]).gross_mg);
            rest := rest || custody_continue(lots[i], left_in);
            FOR c IN 2..6 LOOP
                gap[c] := gap[c] + (custody_columns(lots[i]))[c] - left_in[c];
            END LOOP;
        END LOOP;
    END IF;
    gap[1] := l.gross_mg - gross;
    losses := custody_losses_of(gap);
    IF custody_cleaned_out(l) IS NOT NULL THEN
        -- What a clean-out gathered and its assay finds was declared lost before: it is a recovery, no difference.
        PERFORM custody_lock_losses(true);
        losses := custody_recovery_of(custody_cleaned_out(l), gap);
        rule := custody_rule_of('clean out');
    END IF;
    op := custody_check_tolerance(op, rule, custody_sum(ins, ARRAY['in']), rest || losses);
    answer := custody_record(op, ins, lots, rest, losses, custody_mixture_of(lots));
    IF request ? 'solution' THEN
        INSERT INTO custody_solutionacceptance (assay_id, operation_id, by_id)
        SELECT s.id, op.id, op.by_id FROM custody_solutionassay s WHERE s.number = request ->> 'solution';
    END IF;
    RETURN answer;
END $$;

CREATE FUNCTION custody_losses_of(gap bigint[]) RETURNS custody_line[]
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT CASE WHEN gap = '{0,0,0,0,0,0}' THEN '{}'::custody_line[] ELSE ARRAY[ROW('loss', NULL, NULL,
        'measurement difference', 'assay', gap, false, true, '{}'::jsonb)::custody_line] END
$$;

-- What is found is a loss taken back by its cause; what is missing is a difference.
CREATE FUNCTION custody_recovery_of(of_cause text, gap bigint[]) RETURNS custody_line[]
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT custody_losses_of(ARRAY(SELECT greatest(g, 0) FROM unnest(gap) WITH ORDINALITY u(g, n) ORDER BY n))
        || CASE WHEN 0 > ANY (gap) THEN ARRAY[ROW('loss', NULL, NULL, of_cause, 'recovered, by assay',
            ARRAY(SELECT least(g, 0) FROM unnest(gap) WITH ORDINALITY u(g, n) ORDER BY n), false, true,
            '{}'::jsonb)::custody_line] ELSE '{}' END
$$;
