-- I4: the signed, check-weighed passing on of one lot. Same locks in the same order as an operation.
CREATE FUNCTION custody_hand_over(lot_number text, at timestamptz, to_user bigint, to_place_code text,
    weighed bigint, words text, by_user bigint, key uuid) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    place bigint;
    made bigint;
    earlier custody_handover;
BEGIN
    PERFORM custody_open_day(at);
    l := (custody_lock_lots(ARRAY[lot_number]))[1];
    place := custody_place(to_place_code, l.place_id);
    SELECT * INTO earlier FROM custody_handover WHERE request_key = key AND lot_id = l.id;
    IF FOUND THEN
        -- A form sent twice: the lot was locked by the first, so the second finds what it recorded.
        IF (earlier.to_person_id, earlier.to_place_id) IS DISTINCT FROM (to_user, place)
                OR earlier.weighed_mg IS DISTINCT FROM weighed THEN
            PERFORM custody_refuse('request_key', 'This form was recorded before with other figures.',
                                   jsonb_build_object('operation', format('handover of lot %s', l.number)));
        END IF;
        RETURN earlier.id;
    END IF;
    IF l.gross_mg = 0 THEN
        PERFORM custody_refuse('overdraw', format('Lot %s is empty.', l.number), jsonb_build_object('lot', l.number));
    ELSIF at < l.last_at THEN
        PERFORM custody_refuse('before_last_event', format('Lot %s has a later event.', l.number),
            jsonb_build_object('lot', l.number, 'at', at, 'last_at', l.last_at));
    ELSIF by_user NOT IN (l.custodian_id, to_user) THEN
        PERFORM custody_refuse('not_custodian', format('Lot %s is in other hands.', l.number),
            jsonb_build_object('lot', l.number, 'custodian', l.custodian_id));
    ELSIF l.custodian_id = to_user AND l.place_id = place THEN
        PERFORM custody_refuse('nothing_handed_over', format('Lot %s is there already.', l.number),
            jsonb_build_object('lot', l.number));
    ELSIF l.form = 'in process' AND place <> l.place_id THEN
        PERFORM custody_refuse('in_process', format('Lot %s stays in its vessel.', l.number),
            jsonb_build_object('lot', l.number));
    END IF;
    INSERT INTO custody_handover (lot_id, at, from_person_id, to_person_id, from_place_id, to_place_id, book_mg,
        weighed_mg, note, request_key)
    VALUES (l.id, at, l.custodian_id, to_user, l.place_id, place, l.gross_mg, weighed, words, key) RETURNING id INTO made;
    UPDATE custody_lot SET custodian_id = to_user, place_id = place, last_at = at WHERE id = l.id;
    RETURN made;
END $$;

-- Hold and release, with the reason of someone who has the right. A lot that stands so already keeps its earlier reason
-- (NULL: nothing changed), so that a form sent twice is recorded once.
CREATE FUNCTION custody_clear(lot_number text, to_clearance text, why text, at timestamptz, by_user bigint)
RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    made bigint;
BEGIN
    PERFORM custody_open_day(at);
    l := (custody_lock_lots(ARRAY[lot_number]))[1];
    IF to_clearance NOT IN ('held', 'released') OR coalesce(why, '') = '' THEN
        PERFORM custody_refuse('reason_needed', 'A hold or release says why.', jsonb_build_object('lot', l.number));
    ELSIF NOT EXISTS (SELECT FROM custody_rolegrant WHERE user_id = by_user AND role = 'compliance officer') THEN
        PERFORM custody_refuse('clearance_right', 'Only a compliance officer holds or releases a lot.',
                               jsonb_build_object('lot', l.number));
    ELSIF l.clearance = to_clearance THEN
        RETURN NULL;
    ELSIF at < l.last_at THEN
        PERFORM custody_refuse('before_last_event', format('Lot %s has a later event.', l.number),
            jsonb_build_object('lot', l.number, 'at', at, 'last_at', l.last_at));
    END IF;
    INSERT INTO custody_clearanceevent (lot_id, clearance, reason, at, by_id)
    VALUES (l.id, to_clearance, why, at, by_user) RETURNING id INTO made;
    UPDATE custody_lot SET clearance = to_clearance, last_at = at WHERE id = l.id;
    RETURN made;
END $$;
