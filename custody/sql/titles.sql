-- Ownership is not custody and not origin. When lots of several owners are refined together they become pooled: the
-- same operation turns each title into a claim on the party's metal account, at the accepted assay less agreed terms.
CREATE FUNCTION custody_account_entry(of_party bigint, of_metal text, amount bigint, at timestamptz, of_receipt bigint,
    of_operation bigint, of_settlement bigint) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    account bigint;
    held bigint;
BEGIN
    IF amount = 0 THEN
        RETURN;
    END IF;
    INSERT INTO custody_metalaccount (party_id, metal, balance_mg) VALUES (of_party, of_metal, 0) ON CONFLICT DO NOTHING;
    SELECT id, balance_mg INTO account, held FROM custody_metalaccount
     WHERE party_id = of_party AND metal = of_metal FOR UPDATE;
    IF held + amount < 0 THEN
        PERFORM custody_refuse('claim', format('The metal account does not hold that much %s.', of_metal),
            jsonb_build_object('metal', of_metal, 'book_mg', held, 'asked_mg', -amount,
                               'missing_mg', -(held + amount)));
    END IF;
    UPDATE custody_metalaccount SET balance_mg = balance_mg + amount WHERE id = account;
    INSERT INTO custody_accountentry (account_id, at, mg, receipt_id, operation_id, settlement_id)
    VALUES (account, at, amount, of_receipt, of_operation, of_settlement);
END $$;

ALTER TABLE custody_metalaccount ADD CONSTRAINT account_never_negative CHECK (balance_mg >= 0);

CREATE FUNCTION custody_payable_ppm(of_party bigint, on_day date, metal text) RETURNS bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT coalesce((SELECT CASE metal WHEN 'Au' THEN au_payable_ppm WHEN 'Ag' THEN ag_payable_ppm
            WHEN 'Pt' THEN pt_payable_ppm WHEN 'Pd' THEN pd_payable_ppm ELSE cu_payable_ppm END
          FROM custody_terms WHERE party_id = of_party AND valid_from <= on_day
         ORDER BY valid_from DESC, id DESC LIMIT 1), 1000000)
$$;

-- Claims are rounded down to the milligram, per receipt and metal. Accounts are locked in (party, metal) order.
CREATE FUNCTION custody_claim_titles(op custody_operation, in_ids bigint[]) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    claim record;
BEGIN
    FOR claim IN
        SELECT l.owner_id, (ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu'])[t.column_no] AS metal, p.created_by_id AS receipt,
               sum(t.mg)::bigint AS mg
          FROM unnest(in_ids) i JOIN custody_movement m ON m.id = i JOIN custody_lot l ON l.id = m.lot_id,
               LATERAL custody_taken(i) t JOIN custody_origin o ON o.id = t.origin LEFT JOIN custody_lot p ON p.id = o.lot_id
         WHERE l.owner_id IS NOT NULL AND t.column_no > 0
         GROUP BY 1, 2, 3 ORDER BY 1, 2, 3
    LOOP
        PERFORM custody_account_entry(claim.owner_id, claim.metal,
            div(claim.mg::numeric * custody_payable_ppm(claim.owner_id, op.day, claim.metal), 1000000)::bigint,
            op.at, claim.receipt, op.id, NULL);
    END LOOP;
END $$;

-- Metal leaves the gate only on its owner's order or against a sufficient claim; what the house sells of its own must
-- leave enough to cover what it owes. A bar of a type pays a claim in its type's metal alone; what else is in it leaves
-- as the house's own, and must be covered. A bar without a type pays with every metal in it.
CREATE FUNCTION custody_check_gate(op custody_operation, against text, lines custody_line[], lots custody_lot[])
RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    house bigint[] := '{0,0,0,0,0}';
    beside bigint[] := '{0,0,0,0,0}'; -- in a bar that a claim is paid with, the metals that it is not paid with
    paid text;
    c int;
    owed record;
BEGIN
    IF against NOT IN ('own', 'claim', 'sale', 'returned') THEN
        PERFORM custody_refuse('dispatch', format('Metal does not leave as “%s”.', against), '{}');
    END IF;
    FOR i IN 1..cardinality(lots) LOOP
        l := lots[i];
        IF against = 'returned' THEN
            PERFORM custody_check_return(op, l, lines[i]);
        ELSIF l.clearance <> 'released' THEN
            PERFORM custody_refuse('not_released', format('Lot %s is not released.', l.number),
                                   jsonb_build_object('lot', l.number));
        ELSIF l.owner_id IS NOT NULL AND l.owner_id <> op.party_id THEN
            PERFORM custody_refuse('not_owner', format('Lot %s belongs to another party.', l.number),
                                   jsonb_build_object('lot', l.number));
        ELSIF custody_unassayed(l) THEN
            PERFORM custody_refuse('not_valued', format('Lot %s was gathered by a clean-out and never assayed.', l.number),
                                   jsonb_build_object('lot', l.number));
        ELSIF l.owner_id IS NULL AND against = 'own' THEN
            PERFORM custody_refuse('dispatch', format('Lot %s belongs to the house: send it against a claim, or as sold.',
                l.number), jsonb_build_object('lot', l.number));
        END IF;
        CONTINUE WHEN l.owner_id IS NOT NULL;
        SELECT t.metal INTO paid FROM custody_bar b JOIN custody_bartype t ON t.id = b.bar_type_id
         WHERE b.lot_id = l.id AND b.cancelled_by_id IS NULL AND against = 'claim';
        FOR c IN 1..5 LOOP
            IF (ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu'])[c] <> paid THEN
                beside[c] := beside[c] + lines[i].amounts[c + 1];
            ELSE
                house[c] := house[c] + lines[i].amounts[c + 1];
            END IF;
        END LOOP;
    END LOOP;
    FOREACH c IN ARRAY ARRAY[2, 1, 5, 4, 3] LOOP -- by metal's name: the order in which accounts are locked
        CONTINUE WHEN house[c] + beside[c] = 0;
        IF against = 'claim' THEN
            PERFORM custody_account_entry(op.party_id, (ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu'])[c], -house[c], op.at,
                                          NULL, op.id, NULL);
            CONTINUE WHEN beside[c] = 0;
        ELSIF op.source <> 'live' THEN
            -- A record does not say against what metal left: the party's claim first, then the house's own.
            PERFORM custody_account_entry(op.party_id, a.metal, -least(a.balance_mg, house[c]), op.at, NULL, op.id, NULL)
               FROM custody_metalaccount a
              WHERE a.party_id = op.party_id AND a.metal = (ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu'])[c];
            CONTINUE WHEN op.source = 'history';
        END IF;
        SELECT sum(balance_mg) AS mg INTO owed FROM custody_metalaccount
         WHERE metal = (ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu'])[c];
        IF coalesce(owed.mg, 0) > 0 AND owed.mg > (SELECT sum((custody_columns(k))[c + 1]) FROM custody_lot k
                WHERE k.gross_mg > 0 AND k.owner_id IS NULL) - house[c] - beside[c] THEN
            PERFORM custody_refuse('cover', 'The house would hold less than it owes.',
                jsonb_build_object('metal', (ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu'])[c], 'owed_mg', owed.mg));
        END IF;
    END LOOP;
END $$;

-- A parcel goes back as it came: to the party that brought it, unmelted, not held, neither settled nor paid for.
CREATE FUNCTION custody_check_return(op custody_operation, l custody_lot, line custody_line) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    receipt custody_operation;
BEGIN
    SELECT * INTO receipt FROM custody_operation WHERE id = l.created_by_id;
    IF receipt.kind <> 'receive' OR NOT line.whole THEN
        PERFORM custody_refuse('returned', format('Lot %s is no parcel as it came.', l.number),
                               jsonb_build_object('lot', l.number));
    ELSIF receipt.party_id <> op.party_id THEN
        PERFORM custody_refuse('not_owner', format('Lot %s was brought by another party.', l.number),
                               jsonb_build_object('lot', l.number));
    ELSIF EXISTS (SELECT FROM custody_settlement WHERE receipt_id = receipt.id)
            OR EXISTS (SELECT FROM custody_purchase WHERE receipt_id = receipt.id) THEN
        PERFORM custody_refuse('returned', format('Receipt %s is settled or paid.', receipt.number),
                               jsonb_build_object('lot', l.number));
    ELSIF op.reason = '' THEN
        PERFORM custody_refuse('reason_needed', 'A return says why.', jsonb_build_object('lot', l.number));
    END IF;
END $$;
