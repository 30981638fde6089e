-- What happens at the counter beside the metal itself: for whom it was delivered, what was bought and paid at once, who
-- fetched it, and what was amended of a receipt.
CREATE FUNCTION custody_record_delivery(op custody_operation, said jsonb) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    of_slip bigint;
    replaced bigint;
BEGIN
    IF said ? 'slip' THEN
        PERFORM pg_advisory_xact_lock(hashtextextended('slip ' || (said ->> 'slip'), 0));
        -- Printed before it was written on: a slip has the minute.
        SELECT id INTO of_slip FROM custody_slip
         WHERE number = said ->> 'slip' AND date_trunc('minute', printed_at) <= op.at;
        IF of_slip IS NULL OR EXISTS (SELECT FROM custody_spoiledslip WHERE slip_id = of_slip)
                OR EXISTS (SELECT FROM custody_delivery WHERE slip_id = of_slip) THEN
            PERFORM custody_refuse('slip', format('Slip %s is not open.', said ->> 'slip'),
                jsonb_build_object('slip', said ->> 'slip', 'receipt', (SELECT o.number FROM custody_delivery d
                    JOIN custody_operation o ON o.id = d.operation_id WHERE d.slip_id = of_slip)));
        END IF;
    END IF;
    IF said ? 'replaces' THEN
        SELECT o.id INTO replaced FROM custody_operation o JOIN custody_operation r ON r.reverses_id = o.id
         WHERE o.number = said ->> 'replaces' AND o.kind = 'receive';
        IF replaced IS NULL THEN
            PERFORM custody_refuse('unknown_operation', 'A receipt replaces one that is reversed.',
                                   jsonb_build_object('operation', said ->> 'replaces'));
        ELSIF EXISTS (SELECT FROM custody_delivery WHERE replaces_id = replaced) THEN
            PERFORM custody_refuse('unknown_operation', format('Receipt %s is replaced already.', said ->> 'replaces'),
                                   jsonb_build_object('operation', said ->> 'replaces'));
        END IF;
    END IF;
    INSERT INTO custody_delivery (operation_id, on_behalf_of, identity_kind, identity_number, slip_id, replaces_id)
    VALUES (op.id, coalesce(said ->> 'on_behalf_of', ''), coalesce(said ->> 'identity_kind', ''),
            coalesce(said ->> 'identity_number', ''), of_slip, replaced);
END $$;

-- Who enters a slip and who spoils it wait for each other by its number: the application may lock no row of slips.
CREATE FUNCTION custody_slip_ends_once() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    of_number text := (SELECT number FROM custody_slip WHERE id = NEW.slip_id);
BEGIN
    PERFORM pg_advisory_xact_lock(hashtextextended('slip ' || of_number, 0));
    IF EXISTS (SELECT FROM custody_delivery WHERE slip_id = NEW.slip_id)
            OR EXISTS (SELECT FROM custody_spoiledslip WHERE slip_id = NEW.slip_id) THEN
        PERFORM custody_refuse('slip', format('Slip %s is not open.', of_number),
                               jsonb_build_object('slip', of_number));
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER slip_ends_once BEFORE INSERT ON custody_spoiledslip
    FOR EACH ROW EXECUTE FUNCTION custody_slip_ends_once();

-- A spot purchase: {currency, total, payment, reference?, price_source, lines: [{metal, indicated_ppm, method,
-- price_per_g, payable_ppm, amount}]}, one line a parcel in the order of the parcels. Amount = net grams x fineness x
-- price x share paid, half to even to the cent, once; as calc/purchase.py. What a fineness is bought by is an
-- indication, and the seller shows who he is.
CREATE FUNCTION custody_record_purchase(op custody_operation, said jsonb, lots bigint[], net_mg bigint[]) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    line jsonb;
    due numeric;
    total numeric := 0;
BEGIN
    IF op.basis <> 'purchase' OR jsonb_array_length(said -> 'lines') <> cardinality(lots) THEN
        PERFORM custody_refuse('purchase', 'A purchase names a price for every parcel.', '{}');
    ELSIF NOT EXISTS (SELECT FROM custody_delivery WHERE operation_id = op.id AND identity_kind <> '') THEN
        PERFORM custody_refuse('purchase', 'Metal is bought from a person whose identity was seen.', '{}');
    ELSIF coalesce(said ->> 'price_source', '') = '' OR coalesce(said ->> 'payment', '') NOT IN ('cash', 'bank transfer', 'cheque')
            OR coalesce(said ->> 'currency', '') !~ '^[A-Z]{3}$' THEN
        PERFORM custody_refuse('purchase', 'A purchase says where its price is from, in which money and how it was paid.', '{}');
    END IF;
    INSERT INTO custody_purchase (receipt_id, currency, total, payment, reference, price_source)
    VALUES (op.id, said ->> 'currency', coalesce((said ->> 'total')::numeric, 0), said ->> 'payment',
            coalesce(said ->> 'reference', ''), said ->> 'price_source');
    FOR i IN 1..cardinality(lots) LOOP
        line := said -> 'lines' -> (i - 1);
        IF ((line ->> 'metal') IN ('Au', 'Ag', 'Pt', 'Pd', 'Cu')
                AND (line ->> 'indicated_ppm')::int BETWEEN 1 AND 1000000
                AND (line ->> 'payable_ppm')::int BETWEEN 1 AND 1000000 AND (line ->> 'price_per_g')::numeric > 0
                AND scale(trim_scale((line ->> 'price_per_g')::numeric)) <= 4
                AND (line ->> 'method') IN ('XRF indication', 'density indication', 'as declared')) IS NOT TRUE THEN
            PERFORM custody_refuse('purchase', format('Parcel %s: its metal, fineness, price or share is not one to buy by.', i),
                                   jsonb_build_object('line', i));
        END IF;
        -- Whole numbers only: mg x ppm x ten-thousandths of the currency x ppm; the divisor leaves cents.
        due := custody_half_even(net_mg[i]::numeric * (line ->> 'indicated_ppm')::int
            * trunc((line ->> 'price_per_g')::numeric * 10000) * (line ->> 'payable_ppm')::int * 100,
            1000::numeric * 1000000 * 10000 * 1000000) / 100.0;
        IF due IS DISTINCT FROM (line ->> 'amount')::numeric THEN
            PERFORM custody_refuse('purchase', 'The amount of a parcel is not what its figures give.',
                                   jsonb_build_object('line', i, 'amount', due::numeric(16, 2)::text));
        END IF;
        total := total + due;
        INSERT INTO custody_purchaseline (purchase_id, lot_id, metal, net_mg, indicated_ppm, method, price_per_g,
            payable_ppm, amount)
        VALUES (op.id, lots[i], line ->> 'metal', net_mg[i], (line ->> 'indicated_ppm')::int, line ->> 'method',
            (line ->> 'price_per_g')::numeric, (line ->> 'payable_ppm')::int, due);
    END LOOP;
    IF total IS DISTINCT FROM (said ->> 'total')::numeric THEN
        PERFORM custody_refuse('purchase', 'The parcels do not sum to the total.', jsonb_build_object('amount', total));
    END IF;
END $$;

-- Metal leaves by order, to a person whose identity was seen. A past record need not say so.
CREATE FUNCTION custody_record_collection(op custody_operation, against text, said jsonb) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF said IS NULL AND op.source <> 'live' THEN
        RETURN;
    ELSIF coalesce(said ->> 'order', '') = '' OR coalesce(said ->> 'collector', '') = ''
            OR coalesce(said ->> 'identity_kind', '') = '' OR coalesce(said ->> 'identity_number', '') = '' THEN
        PERFORM custody_refuse('collection', 'Metal leaves by an order, to a person whose identity was seen.', '{}');
    END IF;
    INSERT INTO custody_collection ("operation_id", against, "order", collector, identity_kind, identity_number, carrier)
    VALUES (op.id, against, said ->> 'order', said ->> 'collector', said ->> 'identity_kind', said ->> 'identity_number',
            coalesce(said ->> 'carrier', ''));
END $$;

-- What leaves is weighed as it leaves: every parcel that goes back, and every lot that is no bar with a serial (a bar is
-- counted by its serial, those in a closed box by its seal). What both scales' errors do not explain is explained and
-- countersigned, as at every handover. Asked at the end of the transaction, for the weighing names the operation. A
-- past record has no weighing, nor has a record that a program sends.
CREATE FUNCTION custody_leaving_is_weighed() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    op custody_operation;
    back boolean := NEW.against = 'returned';
    p record;
    allowed bigint;
BEGIN
    SELECT * INTO op FROM custody_operation WHERE id = NEW.operation_id;
    FOR p IN
        SELECT l.number, m.gross_mg AS book_mg, w.net_mg AS weighed_mg, w.scale_id AS now_on,
               (SELECT b.scale_id FROM custody_weighing b WHERE b.lot_id = m.lot_id AND b.id < w.id
                 ORDER BY b.id DESC LIMIT 1) AS before_on
          FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id
          LEFT JOIN custody_weighing w ON w.operation_id = op.id AND w.lot_id = m.lot_id
               AND w.purpose = CASE WHEN back THEN 'return' ELSE 'gate' END
         WHERE m.operation_id = op.id AND m.side = 'in' AND op.source = 'live'
           AND (back OR NOT EXISTS (SELECT FROM custody_bar r WHERE r.lot_id = l.id AND r.cancelled_by_id IS NULL))
    LOOP
        IF p.weighed_mg IS NULL THEN
            PERFORM custody_refuse('weighed_or_says_why_not', format('Lot %s is weighed as it leaves.', p.number),
                                   jsonb_build_object('lot', p.number, 'said', 'is weighed as it leaves'));
        END IF;
        allowed := custody_permissible_ug(p.now_on, p.weighed_mg)
                 + custody_permissible_ug(coalesce(p.before_on, p.now_on), p.book_mg);
        IF abs(p.weighed_mg - p.book_mg) * 1000 > allowed AND (op.countersigned_by_id IS NULL OR op.reason = '') THEN
            PERFORM custody_refuse('handover_difference', format('Lot %s does not weigh what the book says.', p.number),
                jsonb_build_object('lot', p.number, 'weighed_mg', p.weighed_mg, 'book_mg', p.book_mg,
                                   'off_mg', abs(p.weighed_mg - p.book_mg), 'allowed_ug', allowed));
        END IF;
    END LOOP;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER collection_is_weighed AFTER INSERT ON custody_collection
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION custody_leaving_is_weighed();

-- What a receipt says wrongly is amended, never overwritten: {receipt, lot?, field, before, after, reason, by,
-- countersigned_by?, countersign_meaning?, request_key?}. It counts from the moment of recording. After the parcel is
-- melted, or where its origin changes, a manager countersigns. A changed origin counts at once for what may be mixed (I7).
CREATE FUNCTION custody_amend(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    receipt custody_operation;
    l custody_lot;
    signer bigint := (request ->> 'countersigned_by')::bigint;
    made bigint;
    was text;
BEGIN
    SELECT * INTO receipt FROM custody_operation WHERE number = request ->> 'receipt' AND kind = 'receive' FOR UPDATE;
    IF receipt.id IS NULL OR EXISTS (SELECT FROM custody_operation WHERE reverses_id = receipt.id) THEN
        PERFORM custody_refuse('unknown_operation', 'There is no such standing receipt.', '{}');
    END IF;
    SELECT id INTO made FROM custody_amendment WHERE request_key = (request ->> 'request_key')::uuid
       AND field = request ->> 'field' AND lot_id IS NOT DISTINCT FROM
           (SELECT id FROM custody_lot WHERE number = request ->> 'lot');
    IF FOUND THEN
        RETURN made;
    END IF;
    IF request ? 'lot' THEN
        l := (custody_lock_lots(ARRAY[request ->> 'lot']))[1];
        IF l.created_by_id <> receipt.id THEN
            PERFORM custody_refuse('unknown_lot', 'This lot is no parcel of the receipt.',
                                   jsonb_build_object('lot', l.number));
        END IF;
    END IF;
    SELECT after INTO was FROM custody_amendment WHERE receipt_id = receipt.id AND lot_id IS NOT DISTINCT FROM l.id
       AND field = request ->> 'field' ORDER BY id DESC LIMIT 1;
    IF was <> request ->> 'before' THEN
        PERFORM custody_refuse('amended_since', 'It was amended meanwhile.', jsonb_build_object('now', was));
    ELSIF coalesce(request ->> 'reason', '') = '' OR request ->> 'before' = request ->> 'after' THEN
        PERFORM custody_refuse('reason_needed', 'An amendment changes something and says why.', '{}');
    ELSIF signer IS NULL AND (request ->> 'field' IN ('category', 'country', 'mine')
            OR l.id IS NOT NULL AND l.gross_mg = 0) THEN
        PERFORM custody_refuse('amendment_countersigned', 'A manager countersigns this amendment.',
                               jsonb_build_object('field', request ->> 'field'));
    ELSIF signer = (request ->> 'by')::bigint THEN
        PERFORM custody_refuse('countersigned_by_another', 'Nobody countersigns for himself.', '{}');
    ELSIF signer IS NOT NULL AND NOT EXISTS (SELECT FROM custody_rolegrant WHERE user_id = signer AND role = 'manager') THEN
        PERFORM custody_refuse('countersigner_right', 'Only a manager countersigns.', '{}');
    END IF;
    IF l.id IS NOT NULL AND request ->> 'field' IN ('category', 'country', 'mine') THEN
        PERFORM custody_lock_made_of(l);
    END IF;
    INSERT INTO custody_amendment (receipt_id, lot_id, field, before, after, reason, at, by_id, countersigned_by_id,
        countersigned_at, countersign_meaning, request_key, after_movement)
    VALUES (receipt.id, l.id, request ->> 'field', request ->> 'before', request ->> 'after', request ->> 'reason',
        clock_timestamp(), (request ->> 'by')::bigint, signer,
        CASE WHEN signer IS NOT NULL THEN clock_timestamp() END, coalesce(request ->> 'countersign_meaning', ''),
        (request ->> 'request_key')::uuid, (SELECT last_value FROM custody_movement_id_seq)) RETURNING id INTO made;
    IF l.id IS NOT NULL AND request ->> 'field' IN ('category', 'country', 'mine') THEN
        PERFORM custody_amend_origin(l);
    END IF;
    RETURN made;
END $$;

-- Waits until nobody works a lot that a parcel went into, so that a change of its origin stands between two movements
-- of each; what is made meanwhile is waited for too.
CREATE FUNCTION custody_lock_made_of(parcel custody_lot) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    locked bigint := -1;
    found_now bigint;
BEGIN
    LOOP
        PERFORM FROM custody_lot WHERE receipt_id = parcel.receipt_id AND id > parcel.id ORDER BY id FOR UPDATE;
        GET DIAGNOSTICS found_now = ROW_COUNT;
        EXIT WHEN found_now = locked;
        locked := found_now;
    END LOOP;
END $$;

-- What is declared of a parcel now: the last amendment of a field, or what was first written.
CREATE FUNCTION custody_declared(of_lot bigint, of_field text, first_written text) RETURNS text
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT coalesce((SELECT after FROM custody_amendment WHERE lot_id = of_lot AND field = of_field
                      ORDER BY id DESC LIMIT 1), first_written)
$$;

-- Every lot that still holds metal of this parcel alone takes over its amended origin.
CREATE FUNCTION custody_amend_origin(parcel custody_lot) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    now_declared text;
    its_origin bigint;
BEGIN
    SELECT concat_ws('|', nullif(custody_declared(p.lot_id, 'category', p.category), ''),
                     nullif(custody_declared(p.lot_id, 'country', p.country), ''),
                     nullif(custody_declared(p.lot_id, 'mine', p.mine), '')) INTO now_declared
      FROM custody_parcel p WHERE p.lot_id = parcel.id;
    SELECT id INTO its_origin FROM custody_origin WHERE lot_id = parcel.id;
    UPDATE custody_lot t SET amended_origin = now_declared
     WHERE t.receipt_id = parcel.receipt_id
       AND (t.id = parcel.id OR (SELECT m.origin_id FROM custody_movement m WHERE m.id = t.content_movement) = its_origin);
END $$;
