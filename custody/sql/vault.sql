-- The vault: two people open it, either works in it until it is closed, and what stands there is counted by two.
CREATE SEQUENCE custody_number_box;
CREATE SEQUENCE custody_number_access;
CREATE SEQUENCE custody_number_count;

-- Whoever moves metal at a place holds it shared until the end of the transaction, after the lots; who opens, closes,
-- counts or changes it holds it alone, and locks no lot: a count sees each event whole, or is before it.
CREATE FUNCTION custody_lock_place(at_place bigint, alone boolean) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF alone THEN
        PERFORM pg_advisory_xact_lock(1056, at_place::int);
    ELSE
        PERFORM pg_advisory_xact_lock_shared(1056, at_place::int);
    END IF;
END $$;

-- Whether two people open a place, now or at that time: nobody avoids it by another date.
CREATE FUNCTION custody_two_person(at_place bigint, at_time timestamptz) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT p.two_person OR coalesce((SELECT c.two_person FROM custody_placechange c
                                      WHERE c.place_id = p.id AND c.at <= at_time ORDER BY c.id DESC LIMIT 1),
                                    (SELECT c.was_two_person FROM custody_placechange c
                                      WHERE c.place_id = p.id ORDER BY c.id LIMIT 1), false)
      FROM custody_place p WHERE p.id = at_place
$$;

-- Whether this person was one of the two who had the place open at that time.
CREATE FUNCTION custody_admitted(at_place bigint, person bigint, at_time timestamptz) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT EXISTS (SELECT FROM custody_vaultaccess a LEFT JOIN custody_vaultclosing c ON c.access_id = a.id
                    WHERE a.place_id = at_place AND person IN (a.by_id, a.second_id) AND a.at <= at_time
                      AND (c.id IS NULL OR c.at >= at_time))
$$;

-- In a place of two people nothing is touched but by one of the two who have it open.
CREATE FUNCTION custody_check_access(at_place bigint, person bigint, at_time timestamptz, of_lot text) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_lock_place(at_place, false);
    IF custody_two_person(at_place, at_time) AND NOT custody_admitted(at_place, person, at_time) THEN
        PERFORM custody_refuse('vault_closed', 'Two people open this place first.', jsonb_build_object('lot', of_lot,
            'place', (SELECT code FROM custody_place WHERE id = at_place)));
    END IF;
END $$;

-- A count says what stood there at its time: nothing that moves metal is put before it afterwards. And where a place
-- was set out of use meanwhile, nothing comes to stand.
CREATE FUNCTION custody_check_place(at_place bigint, at_time timestamptz, of_lot text) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    counted custody_stockcount;
BEGIN
    PERFORM custody_lock_place(at_place, false);
    SELECT * INTO counted FROM custody_stockcount WHERE place_id = at_place AND at >= at_time LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('counted_since', 'This place was counted after that time.', jsonb_build_object(
            'lot', of_lot, 'count', counted.number, 'place', (SELECT code FROM custody_place WHERE id = at_place)));
    ELSIF NOT (SELECT active FROM custody_place WHERE id = at_place) THEN
        PERFORM custody_refuse('unknown_place', 'This place is out of use.', jsonb_build_object('lot', of_lot,
            'place', (SELECT code FROM custody_place WHERE id = at_place)));
    END IF;
END $$;

-- Every place that an operation touched, once, when its lines are written. A valuation moves nothing; a difference and
-- a reversal change the book alone, and what is imported was done before: nobody was in the vault for them.
CREATE FUNCTION custody_check_places(op custody_operation) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    touched record;
BEGIN
    IF op.kind = 'value' THEN
        RETURN;
    END IF;
    FOR touched IN SELECT m.place_id AS id, coalesce(min(l.number) FILTER (WHERE m.side = 'in'), min(l.number)) AS lot
                     FROM custody_movement m JOIN custody_lot l ON l.id = m.lot_id
                    WHERE m.operation_id = op.id AND m.place_id IS NOT NULL GROUP BY 1 ORDER BY 1 LOOP
        PERFORM custody_check_place(touched.id, op.at, touched.lot);
        IF op.source <> 'history' AND op.kind NOT IN ('difference', 'reverse') THEN
            PERFORM custody_check_access(touched.id, op.by_id, op.at, touched.lot);
        END IF;
    END LOOP;
END $$;

-- Whether metal was moved at a place after that time (by one of these people, where some are named).
CREATE FUNCTION custody_moved_after(at_place bigint, at_time timestamptz, people bigint[]) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT EXISTS (
        SELECT FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id
         WHERE o.day >= custody_local_day(at_time) AND o.at > at_time AND m.place_id = at_place AND o.kind <> 'value'
           AND (people IS NULL OR o.by_id = ANY (people) AND o.kind NOT IN ('difference', 'reverse'))
        UNION ALL SELECT FROM custody_handover h WHERE h.at > at_time AND h.from_place_id = at_place
           AND (people IS NULL OR h.from_person_id = ANY (people))
        UNION ALL SELECT FROM custody_handover h WHERE h.at > at_time AND h.to_place_id = at_place
           AND (people IS NULL OR h.to_person_id = ANY (people)))
$$;

-- Opens a place: {place, at, by, second, purpose, request_key?}. Both have a right to it; it is not open already.
CREATE FUNCTION custody_open_vault(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    at_place bigint := custody_place(request ->> 'place', NULL);
    at_time timestamptz := (request ->> 'at')::timestamptz;
    made bigint;
BEGIN
    PERFORM custody_open_day(at_time);
    IF at_place IS NULL THEN
        PERFORM custody_refuse('vault', 'Say which place is opened.', '{}');
    END IF;
    PERFORM custody_lock_place(at_place, true);
    SELECT id INTO made FROM custody_vaultaccess WHERE request_key = (request ->> 'request_key')::uuid;
    IF FOUND THEN
        RETURN made;
    ELSIF NOT custody_two_person(at_place, at_time) THEN
        PERFORM custody_refuse('vault', 'This place is not one that two people open.', '{}');
    ELSIF coalesce(request ->> 'purpose', '') = '' THEN
        PERFORM custody_refuse('vault_purpose', 'Say what it is opened for.', '{}');
    ELSIF request ->> 'second' IS NULL OR request ->> 'by' = request ->> 'second' THEN
        PERFORM custody_refuse('vault_opened_by_two', 'Nobody opens it alone.', '{}');
    ELSIF (SELECT count(DISTINCT user_id) FROM custody_rolegrant WHERE role IN ('vault keeper', 'manager')
             AND user_id IN ((request ->> 'by')::bigint, (request ->> 'second')::bigint)) < 2 THEN
        PERFORM custody_refuse('vault_right', 'Vault keepers and managers open it.', '{}');
    ELSIF EXISTS (SELECT FROM custody_vaultaccess o WHERE o.place_id = at_place
                     AND NOT EXISTS (SELECT FROM custody_vaultclosing c WHERE c.access_id = o.id)) THEN
        PERFORM custody_refuse('vault', 'This place is open already. Close it first, then open it anew.', '{}');
    ELSIF EXISTS (SELECT FROM custody_vaultclosing c JOIN custody_vaultaccess o ON o.id = c.access_id
                   WHERE o.place_id = at_place AND c.at > at_time) THEN
        PERFORM custody_refuse('vault', 'This place was closed after that time. Give a time after it.', '{}');
    END IF;
    INSERT INTO custody_vaultaccess (number, place_id, at, by_id, second_id, purpose, request_key)
    VALUES (custody_number('VA', 'custody_number_access', at_time), at_place, at_time, (request ->> 'by')::bigint,
        (request ->> 'second')::bigint, request ->> 'purpose', (request ->> 'request_key')::uuid) RETURNING id INTO made;
    RETURN made;
END $$;

-- Closes it: {access, at, by, note?}. One of the two does, or a manager who says why neither did; not before the last
-- thing that they did there.
CREATE FUNCTION custody_close_vault(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    a custody_vaultaccess;
    at_time timestamptz := (request ->> 'at')::timestamptz;
    closer bigint := (request ->> 'by')::bigint;
    made bigint;
BEGIN
    PERFORM custody_open_day(at_time);
    SELECT * INTO a FROM custody_vaultaccess WHERE number = request ->> 'access';
    IF a.id IS NULL THEN
        PERFORM custody_refuse('vault', 'There is no such access.', '{}');
    END IF;
    PERFORM custody_lock_place(a.place_id, true);
    SELECT id INTO made FROM custody_vaultclosing WHERE access_id = a.id;
    IF FOUND THEN
        RETURN made;
    ELSIF closer NOT IN (a.by_id, a.second_id) AND NOT EXISTS (
            SELECT FROM custody_rolegrant WHERE user_id = closer AND role = 'manager') THEN
        PERFORM custody_refuse('vault_right', 'One of the two who opened it closes it, or a manager.', '{}');
    ELSIF closer NOT IN (a.by_id, a.second_id) AND coalesce(request ->> 'note', '') = '' THEN
        PERFORM custody_refuse('vault_purpose', 'Say why neither of the two closes it.', '{}');
    ELSIF at_time < a.at OR custody_moved_after(a.place_id, at_time, ARRAY[a.by_id, a.second_id])
            OR EXISTS (SELECT FROM custody_stockcount s WHERE s.place_id = a.place_id AND s.at > at_time) THEN
        PERFORM custody_refuse('vault', 'Something was done there after that time. Give a time after it.', '{}');
    END IF;
    INSERT INTO custody_vaultclosing (access_id, at, by_id, note)
    VALUES (a.id, at_time, closer, coalesce(request ->> 'note', '')) RETURNING id INTO made;
    RETURN made;
END $$;

-- Sets a place out of use or into use, and says whether two people open it: {place, active, two_person, by}. A manager
-- does; not while it is open, and none is set out of use while something stands there. Gives NULL where nothing changes.
CREATE FUNCTION custody_change_place(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    p custody_place;
    used boolean := (request ->> 'active')::boolean;
    by_two boolean := (request ->> 'two_person')::boolean;
    at_time timestamptz;
    made bigint;
BEGIN
    SELECT * INTO p FROM custody_place WHERE code = request ->> 'place';
    IF p.id IS NULL THEN
        PERFORM custody_refuse('unknown_place', 'There is no such place.', jsonb_build_object('place', request ->> 'place'));
    END IF;
    PERFORM custody_lock_place(p.id, true);
    at_time := clock_timestamp();
    SELECT * INTO p FROM custody_place WHERE id = p.id FOR UPDATE;
    IF (p.active, p.two_person) = (used, by_two) THEN
        RETURN NULL;
    ELSIF NOT EXISTS (SELECT FROM custody_rolegrant WHERE user_id = (request ->> 'by')::bigint AND role = 'manager') THEN
        PERFORM custody_refuse('place_right', 'Only a manager changes a place.', '{}');
    ELSIF EXISTS (SELECT FROM custody_vaultaccess o WHERE o.place_id = p.id
                     AND NOT EXISTS (SELECT FROM custody_vaultclosing c WHERE c.access_id = o.id)) THEN
        PERFORM custody_refuse('place', 'This place is open now. Close it first, then change it.', '{}');
    ELSIF NOT used AND EXISTS (SELECT FROM custody_lot WHERE place_id = p.id AND gross_mg > 0) THEN
        PERFORM custody_refuse('place', 'Lots stand at this place. Hand them over to another place first.', '{}');
    ELSIF custody_moved_after(p.id, at_time, NULL) THEN
        PERFORM custody_refuse('busy', 'Something was done there at this moment.', '{}');
    END IF;
    INSERT INTO custody_placechange (place_id, active, two_person, was_two_person, at, by_id)
    VALUES (p.id, used, by_two, p.two_person, at_time, (request ->> 'by')::bigint) RETURNING id INTO made;
    UPDATE custody_place SET active = used, two_person = by_two WHERE id = p.id;
    RETURN made;
END $$;

-- A count of everything at a place: {place, at, by, second, note?, found: {number: note}, missing: {number: note},
-- strays: [{code, lot?, note?}], request_key?}. Every lot that the book has there is told of, as it stands at that moment;
-- what was found and does not stand there is a stray. Where two people open a place, one of them counts.
CREATE FUNCTION custody_count_stock(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    at_place bigint := custody_place(request ->> 'place', NULL);
    at_time timestamptz := (request ->> 'at')::timestamptz;
    counters bigint[] := ARRAY[(request ->> 'by')::bigint, (request ->> 'second')::bigint];
    seen jsonb := coalesce(request -> 'found', '{}');
    gone jsonb := coalesce(request -> 'missing', '{}');
    l custody_lot;
    made bigint;
BEGIN
    PERFORM custody_open_day(at_time);
    IF at_place IS NULL THEN
        PERFORM custody_refuse('count', 'A count is of a place.', '{}');
    END IF;
    PERFORM custody_lock_place(at_place, true);
    SELECT id INTO made FROM custody_stockcount WHERE request_key = (request ->> 'request_key')::uuid;
    IF FOUND THEN
        RETURN made;
    ELSIF counters[2] IS NULL OR counters[1] = counters[2] THEN
        PERFORM custody_refuse('counted_by_two', 'Nobody counts alone.', '{}');
    ELSIF (SELECT count(DISTINCT user_id) FROM custody_rolegrant WHERE user_id = ANY (counters)
             AND role IN ('vault keeper', 'manager', 'metal accountant')) < 2 THEN
        PERFORM custody_refuse('count_right', 'Vault keepers, accountants and managers count.', '{}');
    ELSIF EXISTS (SELECT FROM custody_stockcount WHERE place_id = at_place AND at >= at_time)
            OR custody_moved_after(at_place, at_time, NULL) THEN
        PERFORM custody_refuse('count', 'Something was done there after that time. Count as of now.', '{}');
    ELSIF NOT custody_admitted(at_place, counters[2], at_time) THEN
        PERFORM custody_check_access(at_place, counters[1], at_time, NULL);
    END IF;
    INSERT INTO custody_stockcount (number, place_id, at, by_id, second_id, note, request_key)
    VALUES (custody_number('SC', 'custody_number_count', at_time), at_place, at_time, counters[1], counters[2],
        coalesce(request ->> 'note', ''), (request ->> 'request_key')::uuid) RETURNING id INTO made;
    FOR l IN SELECT * FROM custody_lot WHERE place_id = at_place AND gross_mg > 0 ORDER BY id LOOP
        IF NOT seen ? l.number AND coalesce(gone ->> l.number, '') = '' THEN
            PERFORM custody_refuse('count_told', format('Lot %s is neither found nor told of.', l.number),
                                   jsonb_build_object('lot', l.number));
        END IF;
        INSERT INTO custody_stockcountline (count_id, lot_id, custodian_id, book_mg, last_movement, found, note)
        VALUES (made, l.id, l.custodian_id, l.gross_mg, l.last_movement, seen ? l.number,
                coalesce(CASE WHEN seen ? l.number THEN seen ELSE gone END ->> l.number, ''));
    END LOOP;
    INSERT INTO custody_stockcountstray (count_id, code, lot_id, place_id, custodian_id, note)
    SELECT made, left(s.code, 60), k.id, CASE WHEN k.gross_mg > 0 THEN k.place_id END,
           CASE WHEN k.gross_mg > 0 THEN k.custodian_id END, s.note
      FROM (SELECT e ->> 'code' AS code, coalesce(e ->> 'lot', e ->> 'code') AS lot, coalesce(e ->> 'note', '') AS note
              FROM jsonb_array_elements(coalesce(request -> 'strays', '[]')) e
            UNION ALL SELECT f.key, f.key, f.value FROM jsonb_each_text(seen) f) s
      LEFT JOIN custody_lot k ON k.number = s.lot
     WHERE NOT EXISTS (SELECT FROM custody_stockcountline x WHERE x.count_id = made AND x.lot_id = k.id);
    RETURN made;
END $$;
