-- A reversal undoes a whole operation: the same lines with the sign turned. It requires that every output's content,
-- custodian and place are as the operation left them. The metal returns to its lots; both operations stay.
-- A lot, and for a sample the lots that it was drawn from.
CREATE FUNCTION custody_sampled_from(of_lot bigint) RETURNS SETOF bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    WITH RECURSIVE up (id) AS (
        SELECT of_lot
        UNION
        SELECT e.parent_id FROM up JOIN custody_lot l ON l.id = up.id AND l.form = 'sample'
          JOIN custody_edge e ON e.child_id = up.id)
    SELECT id FROM up
$$;

CREATE FUNCTION custody_check_reversible(op custody_operation, undone custody_operation) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF undone.id IS NULL THEN
        PERFORM custody_refuse('unknown_operation', 'There is no such operation.', '{}');
    ELSIF undone.kind = 'reverse' OR EXISTS (SELECT FROM custody_operation WHERE reverses_id = undone.id) THEN
        PERFORM custody_refuse('reversed_already', format('%s is reversed, or is a reversal itself.', undone.number),
                               jsonb_build_object('operation', undone.number));
    ELSIF op.at < undone.at THEN
        PERFORM custody_refuse('before_last_event', 'A reversal comes after what it reverses.', '{}');
    ELSIF op.reason = '' THEN
        PERFORM custody_refuse('reason_needed', 'A reversal says why.', '{}');
    END IF;
    PERFORM custody_check_outputs_as_left(undone);
    PERFORM custody_check_nothing_counts_on(undone);
END $$;

-- Every output holds what the operation gave it, in the same hands at the same place.
CREATE FUNCTION custody_check_outputs_as_left(undone custody_operation) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    later record;
BEGIN
    -- What used an output since, and was not itself reversed.
    SELECT l.number AS lot, o.number AS operation INTO later
      FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id AND l.last_movement <> m.id
      JOIN custody_movement n ON n.lot_id = m.lot_id AND n.id > m.id
      JOIN custody_operation o ON o.id = n.operation_id AND o.kind <> 'reverse'
     WHERE m.operation_id = undone.id AND m.side = 'out'
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id) ORDER BY n.id DESC LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('reverse_first', format('Reverse %s first: it used lot %s.', later.operation, later.lot),
            jsonb_build_object('operation', later.operation, 'lot', later.lot));
    END IF;
    SELECT l.number AS lot INTO later FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id
     WHERE m.operation_id = undone.id AND m.side = 'out' AND custody_columns(l) <> custody_columns(m) LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('content_changed', format('Lot %s took back metal since.', later.lot),
            jsonb_build_object('lot', later.lot));
    END IF;
    SELECT l.number AS lot INTO later FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id
     WHERE m.operation_id = undone.id AND m.side = 'out'
       AND (l.custodian_id, l.place_id) IS DISTINCT FROM (m.custodian_id, m.place_id) LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('handed_over_since', format('Lot %s was handed over since: hand it back first.', later.lot),
            jsonb_build_object('lot', later.lot));
    END IF;
END $$;

-- Nothing recorded since was reckoned with what the operation took, lost, received or sent away.
CREATE FUNCTION custody_check_nothing_counts_on(undone custody_operation) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    later record;
BEGIN
    -- A valuation since then counted what was taken unvalued, consumed samples too: it goes first.
    SELECT l.number AS lot, o.number AS operation INTO later
      FROM custody_movement m, LATERAL custody_sampled_from(m.lot_id) s JOIN custody_lot l ON l.id = s
      JOIN custody_movement v ON v.lot_id = s AND v.side = 'in' AND NOT v.valued
      JOIN custody_operation o ON o.id = v.operation_id AND o.kind = 'value'
     WHERE m.operation_id = undone.id AND m.side = 'in' AND NOT m.valued AND v.id > m.id
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id) ORDER BY o.id DESC LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('reverse_first', format('Reverse %s first: it valued lot %s.', later.operation, later.lot),
            jsonb_build_object('operation', later.operation, 'lot', later.lot));
    END IF;
    -- What it left of a solution was measured since: given back now, it would stand there besides what was measured.
    SELECT l.number AS lot, o.number AS operation INTO later
      FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id
      JOIN custody_movement v ON v.lot_id = m.lot_id AND v.side = 'in' AND v.id > m.id
      JOIN custody_operation o ON o.id = v.operation_id
      JOIN custody_solutionacceptance a ON a.operation_id = o.id
      JOIN custody_solutionassay s ON s.id = a.assay_id AND s.lot_id = m.lot_id
     WHERE m.operation_id = undone.id AND m.side = 'in'
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id) ORDER BY o.id DESC LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('reverse_first', format('Reverse %s first: it measured what was left of %s.', later.operation,
            later.lot), jsonb_build_object('operation', later.operation, 'lot', later.lot));
    END IF;
    -- What it lost was recovered since: the recovery goes first, or the same milligrams would be there twice.
    SELECT m.what AS lot, o.number AS operation INTO later
      FROM custody_movement m JOIN custody_movement r ON r.id = custody_last_recovery(m.what)
      JOIN custody_operation o ON o.id = r.operation_id AND o.id <> undone.id
     WHERE m.operation_id = undone.id AND m.side = 'loss' AND m.what <> 'measurement difference' AND r.id > m.id LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('recovered_since', format('Reverse %s first: it recovered what was lost by %s.',
            later.operation, later.lot), jsonb_build_object('operation', later.operation, 'cause', later.lot));
    END IF;
    -- A draw goes back into its vessel: what took the rest of the content since goes first.
    SELECT l.number AS lot, o.number AS operation INTO later
      FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id AND l.form = 'in process' AND l.gross_mg = 0
      JOIN custody_movement n ON n.lot_id = l.id AND n.whole
      JOIN custody_operation o ON o.id = n.operation_id AND o.kind IN ('charge', 'draw', 'finish')
     WHERE m.operation_id = undone.id AND m.side = 'in' AND undone.kind = 'draw' AND n.id > m.id
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id) ORDER BY n.id DESC LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('reverse_first', format('Reverse %s first: it took the rest of %s.', later.operation,
            later.lot), jsonb_build_object('operation', later.operation, 'lot', later.lot));
    END IF;
    -- A settled receipt stays; what left and came back over the counter is a parcel of its own.
    SELECT s.number INTO later FROM custody_settlement s WHERE s.receipt_id = undone.id ORDER BY s.id DESC LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('settled_receipt', format('Receipt %s is settled by %s.', undone.number, later.number),
            jsonb_build_object('receipt', undone.number, 'settlement', later.number));
    END IF;
    SELECT l.number AS lot, r.number AS operation INTO later
      FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id JOIN custody_bar b ON b.lot_id = l.id
      JOIN custody_parcel p ON p.returned_from_id = b.id JOIN custody_lot pl ON pl.id = p.lot_id
      JOIN custody_operation r ON r.id = pl.created_by_id
     WHERE m.operation_id = undone.id AND m.side = 'in' AND undone.kind = 'dispatch'
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = r.id) LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('reverse_first', format('Reverse %s first: it took bar %s back.', later.operation, later.lot),
            jsonb_build_object('operation', later.operation, 'lot', later.lot));
    END IF;
END $$;

-- A lot takes back what the undone operation took; its content becomes a vector of its own where it has one.
CREATE FUNCTION custody_give_back(op custody_operation, m custody_movement, at_line int) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    back bigint[] := custody_columns(m);
    r custody_movement;
    sole bigint;
    vector record;
    pools custody_pool[] := array_fill(NULL::custody_pool, ARRAY[6]);
    line custody_line;
BEGIN
    SELECT * INTO l FROM custody_lot WHERE id = m.lot_id;
    -- One origin's alone only if what the lot holds now is that origin's too.
    IF l.gross_mg = 0 OR m.origin_id = (SELECT origin_id FROM custody_movement WHERE id = l.content_movement) THEN
        sole := m.origin_id;
    END IF;
    IF sole IS NULL THEN
        FOR vector IN
            SELECT s.column_no, array_agg(s.origin ORDER BY s.origin) AS origins, array_agg(s.mg ORDER BY s.origin) AS mgs
              FROM (SELECT u.column_no, u.origin, sum(u.mg)::bigint AS mg FROM (
                        SELECT * FROM custody_taken(m.id)
                        UNION ALL SELECT * FROM custody_content(l.content_movement, custody_columns(l), l.valued)
                                   WHERE l.gross_mg > 0) u GROUP BY 1, 2) s
             GROUP BY s.column_no
        LOOP
            pools[vector.column_no + 1] := ROW(vector.origins, vector.mgs)::custody_pool;
        END LOOP;
        PERFORM custody_store_vectors(op.id, at_line, pools, false);
    END IF;
    line := ROW('in', m.lot_id, l.number, m.what, m.words, ARRAY(SELECT -b FROM unnest(back) WITH ORDINALITY u(b, i)
                ORDER BY i), false, m.valued, '{}'::jsonb)::custody_line;
    r := custody_movement_of(op, at_line, line, l.custodian_id, l.place_id);
    r.origin_id := sole;
    r.spread := CASE WHEN sole IS NULL THEN 3 ELSE 0 END;
    INSERT INTO custody_movement SELECT r.*;
    UPDATE custody_lot SET gross_mg = gross_mg + back[1], au_mg = au_mg + back[2], ag_mg = ag_mg + back[3],
        pt_mg = pt_mg + back[4], pd_mg = pd_mg + back[5], cu_mg = cu_mg + back[6], valued = m.valued,
        last_at = op.at, last_movement = r.id, content_movement = r.id WHERE id = l.id;
END $$;

CREATE FUNCTION custody_post_reversal(op custody_operation, request jsonb) RETURNS jsonb
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    undone custody_operation;
    m custody_movement;
    l custody_lot;
    at_line int := 0;
    mid bigint;
BEGIN
    SELECT * INTO undone FROM custody_operation WHERE number = request ->> 'reverses';
    PERFORM FROM custody_lot WHERE id IN (SELECT lot_id FROM custody_movement WHERE operation_id = undone.id)
      ORDER BY id FOR UPDATE;
    -- After the lots, as every step takes it: the other way round the two would wait for each other.
    IF EXISTS (SELECT FROM custody_movement WHERE operation_id = undone.id AND side = 'loss') THEN
        PERFORM custody_lock_losses(true);
    END IF;
    PERFORM custody_check_reversible(op, undone);
    PERFORM custody_check_unboxed(op, undone);
    op.reverses_id := undone.id;
    op.run_id := undone.run_id;
    op.party_id := undone.party_id;
    IF EXISTS (SELECT FROM custody_movement k JOIN custody_lot t ON t.id = k.lot_id
                WHERE k.operation_id = undone.id AND t.last_at > op.at) THEN
        PERFORM custody_refuse('before_last_event', 'A lot of this operation has a later event.', '{}');
    END IF;
    -- Outputs, additions and losses first, so that a continuing lot is emptied before it takes back what it held.
    FOR m IN SELECT * FROM custody_movement WHERE operation_id = undone.id ORDER BY side = 'in', line LOOP
        at_line := at_line + 1;
        IF m.side = 'in' AND m.lot_id IS NOT NULL THEN
            PERFORM custody_give_back(op, m, at_line);
            CONTINUE;
        END IF;
        mid := nextval('custody_movement_id_seq');
        INSERT INTO custody_movement (id, operation_id, line, side, lot_id, what, words, gross_mg, au_mg, ag_mg, pt_mg,
            pd_mg, cu_mg, valued, whole, custodian_id, place_id, content_before, spread, origin_id, codes)
        VALUES (mid, op.id, at_line, m.side, m.lot_id, m.what, m.words, -m.gross_mg, -m.au_mg, -m.ag_mg, -m.pt_mg,
            -m.pd_mg, -m.cu_mg, m.valued, false, m.custodian_id, m.place_id, NULL, 0, NULL, NULL);
        IF m.side = 'out' AND m.lot_id IS NOT NULL THEN
            UPDATE custody_lot SET gross_mg = 0, au_mg = 0, ag_mg = 0, pt_mg = 0, pd_mg = 0, cu_mg = 0,
                last_at = op.at, last_movement = mid WHERE id = m.lot_id;
        END IF;
    END LOOP;
    PERFORM custody_undo_marks(op, undone);
    RETURN custody_seal(op, at_line);
END $$;

-- What else the operation left behind: bars, received milligrams, claims, its run.
CREATE FUNCTION custody_undo_marks(op custody_operation, undone custody_operation) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    entry record;
    before_lot bigint;
BEGIN
    UPDATE custody_bar SET cancelled_by_id = op.id
     WHERE lot_id IN (SELECT id FROM custody_lot WHERE created_by_id = undone.id);
    INSERT INTO custody_originreceipt (origin_id, operation_id, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg)
    SELECT origin_id, op.id, -gross_mg, -au_mg, -ag_mg, -pt_mg, -pd_mg, -cu_mg
      FROM custody_originreceipt WHERE operation_id = undone.id;
    FOR entry IN SELECT a.party_id, a.metal, e.mg, e.receipt_id FROM custody_accountentry e
                   JOIN custody_metalaccount a ON a.id = e.account_id WHERE e.operation_id = undone.id
                  ORDER BY a.party_id, a.metal, e.id LOOP
        PERFORM custody_account_entry(entry.party_id, entry.metal, -entry.mg, op.at, entry.receipt_id, op.id, NULL);
    END LOOP;
    IF undone.run_id IS NULL THEN
        RETURN;
    END IF;
    SELECT m.lot_id INTO before_lot FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id
     WHERE m.operation_id = undone.id AND m.side = 'in' AND l.form = 'in process';
    IF undone.kind = 'charge' AND before_lot IS NULL THEN
        UPDATE custody_run SET finished_by_id = op.id WHERE id = undone.run_id;
    ELSIF undone.kind = 'charge' THEN
        UPDATE custody_run SET content_id = before_lot WHERE id = undone.run_id;
    ELSE
        UPDATE custody_run SET finished_by_id = NULL WHERE id = undone.run_id AND finished_by_id = undone.id;
    END IF;
END $$;
