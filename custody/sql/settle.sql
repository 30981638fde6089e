-- I9: a settlement is issued once, whole, and never changes; a correction is a new one that names it. It replaces the
-- claims of its receipt: what is returned in metal stays on the account, what is paid in money leaves it, and the title
-- of lots not yet refined passes to the house.
CREATE SEQUENCE custody_number_settlement;

-- What the parcels of a receipt were received as: the content that is settled.
CREATE FUNCTION custody_received(of_receipt bigint, of_metal text) RETURNS bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT coalesce(sum(CASE of_metal WHEN 'Au' THEN r.au_mg WHEN 'Ag' THEN r.ag_mg WHEN 'Pt' THEN r.pt_mg
                        WHEN 'Pd' THEN r.pd_mg ELSE r.cu_mg END), 0)::bigint
      FROM custody_lot l JOIN custody_origin o ON o.lot_id = l.id JOIN custody_originreceipt r ON r.origin_id = o.id
     WHERE l.created_by_id = of_receipt
$$;

CREATE FUNCTION custody_issue_settlement(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    sid bigint;
    receipt custody_operation;
    earlier custody_settlement;
    line jsonb;
    claimed bigint;
    at timestamptz := (request ->> 'at')::timestamptz;
BEGIN
    PERFORM custody_open_day(at);
    SELECT * INTO receipt FROM custody_operation WHERE number = request ->> 'receipt' AND kind = 'receive' FOR UPDATE;
    IF receipt.id IS NULL THEN
        PERFORM custody_refuse('unknown_operation', 'There is no such receipt.', '{}');
    END IF;
    PERFORM FROM custody_lot WHERE receipt_id = receipt.id ORDER BY id FOR UPDATE;
    SELECT * INTO earlier FROM custody_settlement s WHERE s.receipt_id = receipt.id
       AND NOT EXISTS (SELECT FROM custody_settlement c WHERE c.corrects_id = s.id);
    IF earlier.id IS DISTINCT FROM (SELECT id FROM custody_settlement WHERE number = request ->> 'corrects') THEN
        PERFORM custody_refuse('settled_once', format('Receipt %s is settled: a correction names that statement.',
            receipt.number), jsonb_build_object('receipt', receipt.number, 'settlement', earlier.number));
    END IF;
    INSERT INTO custody_settlement (number, receipt_id, party_id, outturn, currency, charges, total, corrects_id,
        prepared_by_id, approved_by_id, issued_at)
    VALUES (custody_number('S', 'custody_number_settlement', at), receipt.id, receipt.party_id, request ->> 'outturn', request ->> 'currency',
        (request ->> 'charges')::numeric, (request ->> 'total')::numeric, earlier.id,
        (request ->> 'prepared_by')::bigint, (request ->> 'approved_by')::bigint, at) RETURNING id INTO sid;
    FOR line IN SELECT * FROM jsonb_array_elements(request -> 'lines') e ORDER BY e ->> 'metal' LOOP
        INSERT INTO custody_settlementline (settlement_id, metal, content_mg, payable_mg, retained_mg, returned_mg,
            accountability_ppm, price, price_unit, price_source, amount, formula)
        VALUES (sid, line ->> 'metal', (line ->> 'content_mg')::bigint, (line ->> 'payable_mg')::bigint,
            (line ->> 'retained_mg')::bigint, (line ->> 'returned_mg')::bigint, (line ->> 'accountability_ppm')::int,
            (line ->> 'price')::numeric, coalesce(line ->> 'price_unit', ''), coalesce(line ->> 'price_source', ''),
            (line ->> 'amount')::numeric, coalesce(line ->> 'formula', ''));
        IF (line ->> 'content_mg')::bigint IS DISTINCT FROM custody_received(receipt.id, line ->> 'metal') THEN
            PERFORM custody_refuse('settled_content', format('The book says another content of %s.', line ->> 'metal'),
                                   jsonb_build_object('metal', line ->> 'metal'));
        END IF;
        SELECT coalesce(sum(e.mg), 0) INTO claimed FROM custody_accountentry e
          JOIN custody_metalaccount a ON a.id = e.account_id
         WHERE e.receipt_id = receipt.id AND a.party_id = receipt.party_id AND a.metal = line ->> 'metal';
        PERFORM custody_account_entry(receipt.party_id, line ->> 'metal', (line ->> 'returned_mg')::bigint - claimed, at,
                                      receipt.id, NULL, sid);
    END LOOP;
    UPDATE custody_lot SET owner_id = NULL WHERE receipt_id = receipt.id AND owner_id = receipt.party_id;
    RETURN sid;
END $$;
