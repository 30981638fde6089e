-- I9: a settlement is issued once, whole, and never changes; a correction is a new one that names it. It replaces the
-- claims of its receipt: what is returned in metal stays on the account, what is paid in money leaves it, and the title
-- of lots not yet refined passes to the house.
CREATE SEQUENCE custody_number_settlement;

-- What the parcels of a receipt were received as, less what went back unmelted: the content that is settled.
CREATE FUNCTION custody_received(of_receipt bigint, of_metal text) RETURNS bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT coalesce(sum(CASE of_metal WHEN 'Au' THEN x.au_mg WHEN 'Ag' THEN x.ag_mg WHEN 'Pt' THEN x.pt_mg
                        WHEN 'Pd' THEN x.pd_mg ELSE x.cu_mg END), 0)::bigint
      FROM custody_lot l, LATERAL (
        SELECT r.au_mg, r.ag_mg, r.pt_mg, r.pd_mg, r.cu_mg FROM custody_origin o
          JOIN custody_originreceipt r ON r.origin_id = o.id WHERE o.lot_id = l.id
        UNION ALL
        SELECT -m.au_mg, -m.ag_mg, -m.pt_mg, -m.pd_mg, -m.cu_mg FROM custody_movement m
          JOIN custody_collection c ON c.operation_id = m.operation_id AND c.against = 'returned'
         WHERE m.lot_id = l.id AND NOT EXISTS (SELECT FROM custody_operation u WHERE u.reverses_id = m.operation_id)) x
     WHERE l.created_by_id = of_receipt
$$;

CREATE FUNCTION custody_issue_settlement(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    sid bigint;
    receipt custody_operation;
    earlier custody_settlement;
    at timestamptz := (request ->> 'at')::timestamptz;
BEGIN
    PERFORM custody_open_day(at);
    SELECT * INTO receipt FROM custody_operation WHERE number = request ->> 'receipt' AND kind = 'receive' FOR UPDATE;
    IF receipt.id IS NULL THEN
        PERFORM custody_refuse('unknown_operation', 'There is no such receipt.', '{}');
    END IF;
    IF EXISTS (SELECT FROM custody_purchase p WHERE p.receipt_id = receipt.id) THEN
        PERFORM custody_refuse('bought', format('Receipt %s was bought and paid at the counter.', receipt.number),
                               jsonb_build_object('receipt', receipt.number));
    END IF;
    SELECT * INTO earlier FROM custody_settlement WHERE request_key = (request ->> 'request_key')::uuid;
    IF FOUND THEN
        -- A form sent twice: the receipt was locked by the first, so the second finds what it issued.
        IF (earlier.receipt_id, earlier.outturn, earlier.total) IS DISTINCT FROM
                (receipt.id, request ->> 'outturn', (request ->> 'total')::numeric) THEN
            PERFORM custody_refuse('request_key', 'This form was recorded before with other figures.',
                                   jsonb_build_object('operation', earlier.number));
        END IF;
        RETURN earlier.id;
    END IF;
    PERFORM FROM custody_lot WHERE receipt_id = receipt.id ORDER BY id FOR UPDATE;
    SELECT * INTO earlier FROM custody_settlement s WHERE s.receipt_id = receipt.id
       AND NOT EXISTS (SELECT FROM custody_settlement c WHERE c.corrects_id = s.id);
    IF earlier.id IS DISTINCT FROM (SELECT id FROM custody_settlement WHERE number = request ->> 'corrects') THEN
        PERFORM custody_refuse('settled_once', format('Receipt %s is settled: a correction names that statement.',
            receipt.number), jsonb_build_object('receipt', receipt.number, 'settlement', earlier.number));
    END IF;
    INSERT INTO custody_settlement (number, receipt_id, party_id, outturn, currency, charges, total, terms_id,
        corrects_id, reason, note, prepared_by_id, approved_by_id, approval_meaning, request_key, issued_at)
    VALUES (custody_number('S', 'custody_number_settlement', at), receipt.id, receipt.party_id, request ->> 'outturn',
        request ->> 'currency', (request ->> 'charges')::numeric, (request ->> 'total')::numeric,
        (request ->> 'terms')::bigint, earlier.id, coalesce(request ->> 'reason', ''), coalesce(request ->> 'note', ''),
        (request ->> 'prepared_by')::bigint, (request ->> 'approved_by')::bigint,
        coalesce(request ->> 'approval_meaning', ''), (request ->> 'request_key')::uuid, at) RETURNING id INTO sid;
    INSERT INTO custody_settlementcharge (settlement_id, what, formula, amount)
    SELECT sid, e ->> 'what', e ->> 'formula', (e ->> 'amount')::numeric
      FROM jsonb_array_elements(request -> 'charge_lines') WITH ORDINALITY u(e, i) ORDER BY i;
    PERFORM custody_settle_metals(sid, receipt, request -> 'lines', at);
    IF (SELECT s.total <> s.charges + (SELECT coalesce(sum(amount), 0) FROM custody_settlementline WHERE settlement_id = sid)
            OR s.charges <> (SELECT coalesce(sum(amount), 0) FROM custody_settlementcharge WHERE settlement_id = sid)
          FROM custody_settlement s WHERE s.id = sid) THEN
        PERFORM custody_refuse('settled_total', 'The lines and charges of a settlement sum to its total.', '{}');
    END IF;
    UPDATE custody_lot SET owner_id = NULL WHERE receipt_id = receipt.id AND owner_id = receipt.party_id;
    RETURN sid;
END $$;

-- Each metal once, all of them, by the book's own content; and what the party is owed of it afterwards.
CREATE FUNCTION custody_settle_metals(sid bigint, receipt custody_operation, lines jsonb, at timestamptz) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    the_metal text;
    line jsonb;
    claimed bigint;
BEGIN
    FOREACH the_metal IN ARRAY ARRAY['Ag', 'Au', 'Cu', 'Pd', 'Pt'] LOOP -- the order in which accounts are locked
        SELECT e INTO line FROM jsonb_array_elements(lines) e WHERE e ->> 'metal' = the_metal;
        IF coalesce((line ->> 'content_mg')::bigint, 0) <> custody_received(receipt.id, the_metal) THEN
            PERFORM custody_refuse('settled_content', format('The book says another content of %s.', the_metal),
                                   jsonb_build_object('metal', the_metal));
        END IF;
        CONTINUE WHEN line IS NULL;
        INSERT INTO custody_settlementline (settlement_id, metal, content_mg, payable_mg, retained_mg, returned_mg,
            accountability_ppm, price, price_unit, price_source, amount, formula)
        VALUES (sid, the_metal, (line ->> 'content_mg')::bigint, (line ->> 'payable_mg')::bigint,
            (line ->> 'retained_mg')::bigint, (line ->> 'returned_mg')::bigint, (line ->> 'accountability_ppm')::int,
            (line ->> 'price')::numeric, coalesce(line ->> 'price_unit', ''), coalesce(line ->> 'price_source', ''),
            (line ->> 'amount')::numeric, coalesce(line ->> 'formula', ''));
        SELECT coalesce(sum(e.mg), 0) INTO claimed FROM custody_accountentry e
          JOIN custody_metalaccount a ON a.id = e.account_id
         WHERE e.receipt_id = receipt.id AND a.party_id = receipt.party_id AND a.metal = the_metal;
        PERFORM custody_account_entry(receipt.party_id, the_metal, (line ->> 'returned_mg')::bigint - claimed, at,
                                      receipt.id, NULL, sid);
    END LOOP;
END $$;

ALTER TABLE custody_settlement
    ADD CONSTRAINT correction_says_why CHECK ((corrects_id IS NULL) = (reason = '')),
    ADD CONSTRAINT approved_in_words CHECK (approval_meaning <> '');
