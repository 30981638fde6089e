-- I4: the signed passing on of one lot, weighed again. Same locks in the same order as an operation. A difference beyond
-- what both scales may be off by stops it until it is explained and countersigned; what is not weighed says why.
-- {lot, at, to_person, to_place?, by, note?, request_key?, not_weighed?, seen?, explanation?, signed_by?,
--  countersigned_by?, countersign_meaning?, weighing?: {scale, gross_mg, tare_mg, gross_reading?, tare_reading?}}
-- What was not found at a shift handover stays with who gave it, and both say so: the row passes nothing on.
CREATE FUNCTION custody_hand_over(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    h custody_handover;
    earlier custody_handover;
BEGIN
    PERFORM custody_open_day((request ->> 'at')::timestamptz);
    l := (custody_lock_lots(ARRAY[request ->> 'lot']))[1];
    h := custody_read_handover(l, request);
    SELECT * INTO earlier FROM custody_handover WHERE request_key = h.request_key AND lot_id = l.id;
    IF FOUND THEN
        -- A form sent twice: the lot was locked by the first, so the second finds what it recorded.
        IF (earlier.to_person_id, earlier.to_place_id) IS DISTINCT FROM (h.to_person_id, h.to_place_id)
                OR earlier.weighed_mg IS DISTINCT FROM h.weighed_mg THEN
            PERFORM custody_refuse('request_key', 'This form was recorded before with other figures.',
                                   jsonb_build_object('operation', format('handover of lot %s', l.number)));
        END IF;
        RETURN earlier.id;
    END IF;
    PERFORM custody_check_handover(l, h);
    h.id := nextval(pg_get_serial_sequence('custody_handover', 'id'));
    IF request ? 'weighing' THEN
        h := custody_weigh_handover(l, h, request -> 'weighing');
    ELSE
        PERFORM custody_check_not_weighed(l, h);
    END IF;
    h := custody_countersign_handover(l, h, request);
    INSERT INTO custody_handover SELECT h.*;
    UPDATE custody_lot SET custodian_id = h.to_person_id, place_id = h.to_place_id, last_at = h.at WHERE id = l.id;
    RETURN h.id;
END $$;

-- The handover as it is asked for: from whom and where, and at which mass, the book says.
CREATE FUNCTION custody_read_handover(l custody_lot, request jsonb) RETURNS custody_handover
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    h custody_handover;
    asked jsonb := request -> 'weighing';
BEGIN
    h.lot_id := l.id;
    h.at := (request ->> 'at')::timestamptz;
    h.from_person_id := l.custodian_id;
    h.from_place_id := l.place_id;
    h.not_weighed := CASE WHEN asked IS NOT NULL THEN '' WHEN coalesce(request ->> 'not_weighed', '') <> ''
        THEN request ->> 'not_weighed' WHEN l.form = 'in process' THEN 'content of a vessel' ELSE '' END;
    h.to_person_id := (request ->> 'to_person')::bigint;
    h.to_place_id := custody_place(request ->> 'to_place', l.place_id);
    IF h.not_weighed = 'not found, stays with who gave' THEN
        h.to_person_id := l.custodian_id;
        h.to_place_id := l.place_id;
    END IF;
    h.book_mg := l.gross_mg;
    h.weighed_mg := (asked ->> 'gross_mg')::bigint - (asked ->> 'tare_mg')::bigint;
    h.seen := coalesce((request ->> 'seen')::boolean, true);
    h.explanation := coalesce(request ->> 'explanation', '');
    h.note := coalesce(request ->> 'note', '');
    h.by_id := (request ->> 'by')::bigint;
    h.signed_by_id := (request ->> 'signed_by')::bigint;
    h.signed_at := CASE WHEN h.signed_by_id IS NOT NULL THEN clock_timestamp() END;
    h.request_key := (request ->> 'request_key')::uuid;
    h.countersign_meaning := '';
    RETURN h;
END $$;

CREATE FUNCTION custody_check_handover(l custody_lot, h custody_handover) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    stays boolean := h.not_weighed = 'not found, stays with who gave';
BEGIN
    IF l.gross_mg = 0 THEN
        PERFORM custody_refuse('overdraw', format('Lot %s is empty.', l.number), jsonb_build_object('lot', l.number));
    ELSIF h.at < l.last_at THEN
        PERFORM custody_refuse('before_last_event', format('Lot %s has a later event.', l.number),
            jsonb_build_object('lot', l.number, 'at', h.at, 'last_at', l.last_at));
    ELSIF l.custodian_id NOT IN (h.by_id, coalesce(h.signed_by_id, h.by_id))
            AND (stays OR h.by_id <> h.to_person_id) THEN
        PERFORM custody_refuse('not_custodian', format('Lot %s is in other hands.', l.number),
            jsonb_build_object('lot', l.number, 'custodian', l.custodian_id));
    ELSIF NOT stays AND l.custodian_id = h.to_person_id AND l.place_id = h.to_place_id THEN
        PERFORM custody_refuse('nothing_handed_over', format('Lot %s is there already.', l.number),
            jsonb_build_object('lot', l.number));
    ELSIF l.form = 'in process' AND h.to_place_id <> l.place_id THEN
        PERFORM custody_refuse('in_process', format('Lot %s stays in its vessel.', l.number),
            jsonb_build_object('lot', l.number));
    END IF;
    PERFORM custody_check_boxed_before(l, h.at);
    -- Who gives is at the place that it leaves, who takes at the one that it comes to.
    PERFORM custody_check_place(h.from_place_id, h.at, l.number);
    PERFORM custody_check_place(h.to_place_id, h.at, l.number);
    PERFORM custody_check_access(h.from_place_id, h.from_person_id, h.at, l.number);
    PERFORM custody_check_access(h.to_place_id, h.to_person_id, h.at, l.number);
END $$;

-- What passes at book says why, and only why it can be: a content stands in a vessel, a serial is on a bar.
CREATE FUNCTION custody_check_not_weighed(l custody_lot, h custody_handover) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    said text := CASE
        WHEN h.not_weighed = '' THEN 'is weighed again as it passes'
        WHEN h.not_weighed = 'content of a vessel' AND l.form <> 'in process' THEN 'is no content of a vessel'
        WHEN h.not_weighed = 'bar counted by its serial' AND NOT EXISTS (SELECT FROM custody_bar WHERE lot_id = l.id)
        THEN 'is no bar with a serial'
        WHEN h.not_weighed = 'bar counted by its serial' AND custody_box_of(l.id) IS NOT NULL
        THEN 'lies in a closed box: it passes by its seal' END;
BEGIN
    IF h.not_weighed = 'not found, stays with who gave' AND h.explanation = '' THEN
        PERFORM custody_refuse('reason_needed', format('Lot %s was not found, and stays with who gave.', l.number),
                               jsonb_build_object('lot', l.number));
    END IF;
    IF said IS NOT NULL THEN
        PERFORM custody_refuse('weighed_or_says_why_not', format('Lot %s %s.', l.number, said),
                               jsonb_build_object('lot', l.number, 'said', said));
    END IF;
END $$;

-- Keeps the check weighing. The scale that the book's weight came from is the lot's last one; a lot that was never
-- weighed by itself (what a step left of it) counts the errors of the scale in hand twice.
CREATE FUNCTION custody_weigh_handover(l custody_lot, h custody_handover, asked jsonb) RETURNS custody_handover
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    now_on bigint;
    before_on bigint;
BEGIN
    SELECT id INTO now_on FROM custody_scale WHERE code = asked ->> 'scale';
    IF now_on IS NULL THEN
        PERFORM custody_refuse('unknown_scale', format('There is no scale %s.', asked ->> 'scale'),
                               jsonb_build_object('scale', asked ->> 'scale', 'lot', l.number));
    ELSIF l.form = 'in process' THEN
        PERFORM custody_refuse('in_process', format('Lot %s is not weighed in its vessel.', l.number),
                               jsonb_build_object('lot', l.number));
    ELSIF custody_box_of(l.id) IS NOT NULL THEN
        PERFORM custody_refuse_boxed(l, custody_box_of(l.id));
    END IF;
    SELECT scale_id INTO before_on FROM custody_weighing WHERE lot_id = l.id ORDER BY id DESC LIMIT 1;
    INSERT INTO custody_weighing (lot_id, scale_id, gross_mg, tare_mg, net_mg, gross_reading_id, tare_reading_id, purpose,
        at, by_id)
    VALUES (l.id, now_on, (asked ->> 'gross_mg')::bigint, (asked ->> 'tare_mg')::bigint, h.weighed_mg,
        (asked ->> 'gross_reading')::bigint, (asked ->> 'tare_reading')::bigint, 'handover', h.at, h.by_id)
    RETURNING id INTO h.weighing_id;
    h.allowed_ug := custody_permissible_ug(now_on, h.weighed_mg)
                  + custody_permissible_ug(coalesce(before_on, now_on), l.gross_mg);
    IF abs(h.weighed_mg - l.gross_mg) * 1000 <= h.allowed_ug THEN
        h.explanation := '';
    END IF;
    RETURN h;
END $$;

-- A manager who neither gives, takes nor records countersigns a difference, and a lot that no scale could weigh. Where
-- neither is, the signature is not kept: it would say that something had been wrong.
CREATE FUNCTION custody_countersign_handover(l custody_lot, h custody_handover, request jsonb) RETURNS custody_handover
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    signer bigint := (request ->> 'countersigned_by')::bigint;
    differs boolean := abs(h.weighed_mg - l.gross_mg) * 1000 > h.allowed_ug;
BEGIN
    IF NOT coalesce(differs, false) AND h.not_weighed <> 'no scale could be used' THEN
        RETURN h;
    ELSIF differs AND (h.explanation = '' OR signer IS NULL) THEN
        PERFORM custody_refuse('handover_difference', format('Lot %s weighs otherwise than its book.', l.number),
            jsonb_build_object('lot', l.number, 'book_mg', l.gross_mg, 'weighed_mg', h.weighed_mg,
                               'off_mg', abs(h.weighed_mg - l.gross_mg), 'allowed_ug', h.allowed_ug,
                               'explained', h.explanation <> ''));
    ELSIF signer IS NULL THEN
        PERFORM custody_refuse('not_weighed_countersigned', format('Lot %s was not weighed.', l.number),
                               jsonb_build_object('lot', l.number));
    ELSIF signer IN (h.by_id, h.from_person_id, h.to_person_id, h.signed_by_id) THEN
        PERFORM custody_refuse('countersigned_by_another', 'Nobody countersigns for himself.', '{}');
    ELSIF NOT EXISTS (SELECT FROM custody_rolegrant WHERE user_id = signer AND role = 'manager') THEN
        PERFORM custody_refuse('countersigner_right', 'Only a manager countersigns.', '{}');
    END IF;
    h.countersigned_by_id := signer;
    h.countersigned_at := clock_timestamp();
    h.countersign_meaning := coalesce(request ->> 'countersign_meaning', '');
    RETURN h;
END $$;

ALTER TABLE custody_handover
    ADD CONSTRAINT difference_explained CHECK (
        weighed_mg IS NULL OR abs(weighed_mg - book_mg) * 1000 <= allowed_ug
        OR (countersigned_by_id IS NOT NULL AND explanation <> '')),
    ADD CONSTRAINT handover_weighed_or_not CHECK (
        (weighed_mg IS NULL) = (weighing_id IS NULL) AND (weighed_mg IS NULL) = (allowed_ug IS NULL)
        AND (weighed_mg IS NULL) = (not_weighed <> '')),
    ADD CONSTRAINT not_weighed_for_a_known_reason CHECK (not_weighed IN (
        '', 'content of a vessel', 'sealed, the seal seen unbroken', 'bar counted by its serial',
        'shift handover, seen and scanned', 'no scale could be used', 'not found, stays with who gave')),
    ADD CONSTRAINT not_weighed_countersigned CHECK (
        not_weighed <> 'no scale could be used' OR countersigned_by_id IS NOT NULL),
    ADD CONSTRAINT handover_countersigned_by_another CHECK (
        (countersigned_by_id IS NULL) = (countersigned_at IS NULL)
        AND (countersigned_by_id IS NULL) = (countersign_meaning = '')
        AND (countersigned_by_id IS NULL OR countersigned_by_id <> by_id AND countersigned_by_id <> from_person_id
            AND countersigned_by_id <> to_person_id AND countersigned_by_id IS DISTINCT FROM signed_by_id)),
    -- A shift handover is signed by who gives and who takes; so is what was not found, which stays with who gave.
    ADD CONSTRAINT handover_signed_by_both CHECK (
        (signed_by_id IS NULL) = (signed_at IS NULL) AND signed_by_id IS DISTINCT FROM by_id
        AND CASE WHEN not_weighed = 'not found, stays with who gave'
            THEN signed_by_id IS NOT NULL AND from_person_id IN (by_id, signed_by_id) AND to_person_id = from_person_id
            ELSE by_id IN (from_person_id, to_person_id) AND (signed_by_id IS NULL
                OR signed_by_id IN (from_person_id, to_person_id)) END
        AND (not_weighed <> 'shift handover, seen and scanned' OR signed_by_id IS NOT NULL)),
    ADD CONSTRAINT seen_or_not_found CHECK (
        seen OR not_weighed = 'content of a vessel' OR not_weighed = 'not found, stays with who gave'),
    ADD CONSTRAINT not_found_stays CHECK (
        not_weighed <> 'not found, stays with who gave'
        OR NOT seen AND explanation <> '' AND to_place_id = from_place_id);

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
