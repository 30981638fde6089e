-- The vault: two people open it, either works in it until it is closed, and what stands there is counted by two.
CREATE SEQUENCE custody_number_box;
CREATE SEQUENCE custody_number_access;
CREATE SEQUENCE custody_number_count;

-- In a place of two people nothing is touched but by one of the two who have it open.
CREATE FUNCTION custody_check_access(at_place bigint, person bigint, at_time timestamptz, of_lot text) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF EXISTS (SELECT FROM custody_place WHERE id = at_place AND two_person) AND NOT EXISTS (
            SELECT FROM custody_vaultaccess a LEFT JOIN custody_vaultclosing c ON c.access_id = a.id
             WHERE a.place_id = at_place AND person IN (a.by_id, a.second_id) AND a.at <= at_time
               AND (c.id IS NULL OR c.at >= at_time)) THEN
        PERFORM custody_refuse('vault_closed', 'Two people open this place first.', jsonb_build_object('lot', of_lot,
            'place', (SELECT code FROM custody_place WHERE id = at_place)));
    END IF;
END $$;

-- Opens a place: {place, at, by, second, purpose, request_key?}. Both have a right to it; it is not open already.
CREATE FUNCTION custody_open_vault(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    at_place bigint := custody_place(request ->> 'place', NULL);
    a custody_vaultaccess;
    last_closed timestamptz;
BEGIN
    PERFORM custody_open_day((request ->> 'at')::timestamptz);
    PERFORM pg_advisory_xact_lock(hashtextextended(format('vault %s', at_place), 0));
    SELECT * INTO a FROM custody_vaultaccess WHERE request_key = (request ->> 'request_key')::uuid;
    IF FOUND THEN
        RETURN a.id;
    ELSIF at_place IS NULL OR NOT (SELECT two_person FROM custody_place WHERE id = at_place) THEN
        PERFORM custody_refuse('vault', 'This place is not one that two people open.', '{}');
    ELSIF request ->> 'by' = request ->> 'second' THEN
        PERFORM custody_refuse('vault_opened_by_two', 'Nobody opens it alone.', '{}');
    ELSIF (SELECT count(DISTINCT user_id) FROM custody_rolegrant WHERE role IN ('vault keeper', 'manager')
             AND user_id IN ((request ->> 'by')::bigint, (request ->> 'second')::bigint)) < 2 THEN
        PERFORM custody_refuse('vault_right', 'Vault keepers and managers open it.', '{}');
    ELSIF EXISTS (SELECT FROM custody_vaultaccess o WHERE o.place_id = at_place
                     AND NOT EXISTS (SELECT FROM custody_vaultclosing c WHERE c.access_id = o.id)) THEN
        PERFORM custody_refuse('vault', 'This place is open already: close it first.', '{}');
    END IF;
    SELECT max(c.at) INTO last_closed FROM custody_vaultclosing c JOIN custody_vaultaccess o ON o.id = c.access_id
     WHERE o.place_id = at_place;
    IF (request ->> 'at')::timestamptz < last_closed THEN
        PERFORM custody_refuse('vault', 'This place was closed after that time.', '{}');
    END IF;
    INSERT INTO custody_vaultaccess (number, place_id, at, by_id, second_id, purpose, request_key)
    VALUES (custody_number('VA', 'custody_number_access', (request ->> 'at')::timestamptz), at_place,
        (request ->> 'at')::timestamptz, (request ->> 'by')::bigint, (request ->> 'second')::bigint,
        coalesce(request ->> 'purpose', ''), (request ->> 'request_key')::uuid) RETURNING id INTO a.id;
    RETURN a.id;
END $$;

-- Closes it: {access, at, by}. One of the two, not before the last thing that they did there.
CREATE FUNCTION custody_close_vault(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    a custody_vaultaccess;
    at_time timestamptz := (request ->> 'at')::timestamptz;
    made bigint;
BEGIN
    PERFORM custody_open_day(at_time);
    SELECT * INTO a FROM custody_vaultaccess WHERE number = request ->> 'access';
    PERFORM pg_advisory_xact_lock(hashtextextended(format('vault %s', a.place_id), 0));
    SELECT id INTO made FROM custody_vaultclosing WHERE access_id = a.id;
    IF FOUND THEN
        RETURN made;
    ELSIF a.id IS NULL OR (request ->> 'by')::bigint NOT IN (a.by_id, a.second_id) THEN
        PERFORM custody_refuse('vault_right', 'One of the two who opened it closes it.', '{}');
    ELSIF at_time < a.at OR EXISTS (
            SELECT FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id
             WHERE o.day >= custody_local_day(at_time) AND o.at > at_time AND o.by_id IN (a.by_id, a.second_id)
               AND m.place_id = a.place_id
            UNION ALL SELECT FROM custody_handover h WHERE h.at > at_time AND (a.place_id, h.from_person_id) IN ((h.from_place_id, a.by_id), (h.from_place_id, a.second_id))
            UNION ALL SELECT FROM custody_handover h WHERE h.at > at_time
               AND (a.place_id, h.to_person_id) IN ((h.to_place_id, a.by_id), (h.to_place_id, a.second_id))) THEN
        PERFORM custody_refuse('vault', 'Something was done there after that time.', '{}');
    END IF;
    INSERT INTO custody_vaultclosing (access_id, at, by_id) VALUES (a.id, at_time, (request ->> 'by')::bigint)
    RETURNING id INTO made;
    RETURN made;
END $$;

-- A count of everything at a place: {place, at, by, second, note?, found: [numbers], missing: {number: note},
-- strays: [{code, note?}], request_key?}. Every lot that the book has there is told of, as it stands at that moment.
CREATE FUNCTION custody_count_stock(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    at_place bigint := custody_place(request ->> 'place', NULL);
    told text[] := ARRAY(SELECT jsonb_array_elements_text(request -> 'found'));
    l custody_lot;
    made bigint;
BEGIN
    PERFORM custody_open_day((request ->> 'at')::timestamptz);
    PERFORM pg_advisory_xact_lock(hashtextextended(coalesce(request ->> 'request_key', ''), 0));
    SELECT id INTO made FROM custody_stockcount WHERE request_key = (request ->> 'request_key')::uuid;
    IF FOUND THEN
        RETURN made;
    ELSIF at_place IS NULL THEN
        PERFORM custody_refuse('count', 'A count is of a place.', '{}');
    ELSIF request ->> 'by' = request ->> 'second' OR request ->> 'second' IS NULL THEN
        PERFORM custody_refuse('counted_by_two', 'Nobody counts alone.', '{}');
    END IF;
    PERFORM custody_check_access(at_place, (request ->> 'by')::bigint, (request ->> 'at')::timestamptz, NULL);
    INSERT INTO custody_stockcount (number, place_id, at, by_id, second_id, note, request_key)
    VALUES (custody_number('SC', 'custody_number_count', (request ->> 'at')::timestamptz), at_place,
        (request ->> 'at')::timestamptz, (request ->> 'by')::bigint, (request ->> 'second')::bigint,
        coalesce(request ->> 'note', ''), (request ->> 'request_key')::uuid) RETURNING id INTO made;
    FOR l IN SELECT * FROM custody_lot WHERE place_id = at_place AND gross_mg > 0 ORDER BY id FOR SHARE LOOP
        IF l.last_at > (request ->> 'at')::timestamptz THEN
            PERFORM custody_refuse('before_last_event', format('Lot %s has a later event.', l.number),
                jsonb_build_object('lot', l.number, 'at', request ->> 'at', 'last_at', l.last_at));
        ELSIF NOT l.number = ANY (told) AND coalesce(request #>> ARRAY['missing', l.number], '') = '' THEN
            PERFORM custody_refuse('count_told', format('Lot %s is neither found nor told of.', l.number),
                                   jsonb_build_object('lot', l.number));
        END IF;
        INSERT INTO custody_stockcountline (count_id, lot_id, custodian_id, book_mg, found, note)
        VALUES (made, l.id, l.custodian_id, l.gross_mg, l.number = ANY (told),
                CASE WHEN l.number = ANY (told) THEN '' ELSE request #>> ARRAY['missing', l.number] END);
    END LOOP;
    INSERT INTO custody_stockcountstray (count_id, code, lot_id, note)
    SELECT made, s.code, s.lot_id, s.note FROM (
        SELECT left(e ->> 'code', 60) AS code, (SELECT id FROM custody_lot WHERE number = e ->> 'code') AS lot_id,
               coalesce(e ->> 'note', '') AS note FROM jsonb_array_elements(coalesce(request -> 'strays', '[]')) e
        UNION ALL
        SELECT left(t, 60), (SELECT id FROM custody_lot WHERE number = t), '' FROM unnest(told) t
         WHERE NOT EXISTS (SELECT FROM custody_stockcountline x JOIN custody_lot k ON k.id = x.lot_id
                            WHERE x.count_id = made AND k.number = t)) s;
    RETURN made;
END $$;
