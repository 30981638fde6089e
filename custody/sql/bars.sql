-- Bars by their types, serials by their ranges, boxes by their seals.

-- A bar weighs and holds what its type asks, and bears a serial that was set aside for it and was not spoiled. A past
-- record names no type, and its serials were set aside elsewhere; but a spoiled one is borne by no bar at all.
CREATE FUNCTION custody_check_bar(op custody_operation, line custody_line, the_mark text, the_year int) RETURNS bigint
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    t custody_bartype;
    fine bigint;
BEGIN
    IF line.detail ? 'bar_type' THEN
        SELECT * INTO t FROM custody_bartype WHERE code = line.detail ->> 'bar_type' AND active;
        IF NOT FOUND THEN
            PERFORM custody_refuse('unknown_bar_type', format('There is no bar type %s.', line.detail ->> 'bar_type'),
                                   jsonb_build_object('bar_type', line.detail ->> 'bar_type'));
        END IF;
        fine := line.amounts[array_position(ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu'], t.metal::text) + 1];
        IF line.amounts[1] < t.least_mg OR line.amounts[1] > t.most_mg THEN
            PERFORM custody_refuse('bar_weight', format('Bar %s does not weigh what its type asks.', line.detail ->> 'serial'),
                jsonb_build_object('serial', line.detail ->> 'serial', 'type', t.name, 'weighed_mg', line.amounts[1],
                                   'least_mg', t.least_mg, 'most_mg', t.most_mg));
        ELSIF coalesce(fine, 0)::numeric * 1000000 < t.least_ppm::numeric * line.amounts[1] THEN
            PERFORM custody_refuse('bar_fineness', format('Bar %s holds too little for its type.', line.detail ->> 'serial'),
                jsonb_build_object('serial', line.detail ->> 'serial', 'type', t.name, 'least_ppm', t.least_ppm));
        END IF;
    END IF;
    PERFORM custody_check_serial(the_mark, the_year, line.detail ->> 'serial', t.id, op.source = 'history');
    RETURN t.id;
END $$;

-- Who stamps a serial and who spoils it wait for each other; so does who sets aside a range for whoever stamps meanwhile.
CREATE FUNCTION custody_lock_serial(the_mark text, the_year int, the_serial text) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM pg_advisory_xact_lock_shared(hashtextextended(format('ranges %s %s', the_mark, the_year), 0));
    PERFORM pg_advisory_xact_lock(hashtextextended(format('serial %s %s %s', the_mark, the_year, the_serial), 0));
END $$;

-- Whether a serial lies in a range: its head, and after it as many digits as the range is wide.
CREATE FUNCTION custody_in_range(r custody_serialrange, the_serial text) RETURNS boolean
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT CASE WHEN left(the_serial, length(r.head)) = r.head AND length(the_serial) = length(r.head) + r.width
                     AND substr(the_serial, length(r.head) + 1) ~ '^[0-9]+$'
                THEN substr(the_serial, length(r.head) + 1)::bigint BETWEEN r.first AND r.last ELSE false END
$$;

CREATE FUNCTION custody_check_serial(the_mark text, the_year int, the_serial text, of_type bigint,
    past boolean) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    ours custody_serialrange;
BEGIN
    PERFORM custody_lock_serial(the_mark, the_year, the_serial);
    IF (SELECT fate = 'spoiled' FROM custody_serialevent WHERE (mark, year, serial) = (the_mark, the_year, the_serial)
         ORDER BY id DESC LIMIT 1) THEN
        PERFORM custody_refuse('serial_spoiled', format('Serial %s is spoiled.', the_serial),
                               jsonb_build_object('serial', the_serial));
    ELSIF NOT past AND EXISTS (SELECT FROM custody_serialrange WHERE (mark, year) = (the_mark, the_year)) THEN
        SELECT r.* INTO ours FROM custody_serialrange r
         WHERE (r.mark, r.year) = (the_mark, the_year) AND custody_in_range(r, the_serial) LIMIT 1;
        IF ours.id IS NULL THEN
            PERFORM custody_refuse('serial_range', format('Serial %s lies in no range of %s %s.', the_serial, the_mark, the_year),
                jsonb_build_object('serial', the_serial, 'mark', the_mark, 'year', the_year));
        ELSIF ours.bar_type_id IS NOT NULL AND of_type IS DISTINCT FROM ours.bar_type_id THEN
            PERFORM custody_refuse('serial_of_type', format('Serial %s is set aside for another type.', the_serial),
                jsonb_build_object('serial', the_serial,
                                   'type', (SELECT name FROM custody_bartype WHERE id = ours.bar_type_id)));
        END IF;
    END IF;
END $$;

-- A spoiled serial stays so; a serial that a bar bears is spoiled no more: the bar has its own end.
CREATE FUNCTION custody_serial_is_free() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_lock_serial(NEW.mark, NEW.year, NEW.serial);
    IF EXISTS (SELECT FROM custody_bar WHERE (mark, serial, year) = (NEW.mark, NEW.serial, NEW.year)
                                         AND cancelled_by_id IS NULL) THEN
        PERFORM custody_refuse('serial_used', format('A bar bears serial %s.', NEW.serial),
                               jsonb_build_object('serial', NEW.serial));
    ELSIF (SELECT fate = 'spoiled' FROM custody_serialevent WHERE (mark, year, serial) = (NEW.mark, NEW.year, NEW.serial)
            ORDER BY id DESC LIMIT 1) THEN
        PERFORM custody_refuse('serial_spoiled', format('Serial %s is spoiled.', NEW.serial),
                               jsonb_build_object('serial', NEW.serial));
    ELSIF NEW.reason = '' THEN
        PERFORM custody_refuse('reason_needed', 'Say for whom, or why.', '{}');
    ELSIF NOT EXISTS (SELECT FROM custody_serialrange r WHERE (r.mark, r.year) = (NEW.mark, NEW.year)
                                                          AND custody_in_range(r, NEW.serial)) THEN
        PERFORM custody_refuse('serial_range', format('Serial %s lies in no range.', NEW.serial),
            jsonb_build_object('serial', NEW.serial, 'mark', NEW.mark, 'year', NEW.year));
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER serialevent_is_free BEFORE INSERT ON custody_serialevent
    FOR EACH ROW EXECUTE FUNCTION custody_serial_is_free();

-- Whether two ranges of one mark and year share a serial. The longer head may begin with digits that the other counts:
-- A0001 lies in A with four digits and in A00 with two.
CREATE FUNCTION custody_ranges_meet(a custody_serialrange, b custody_serialrange) RETURNS boolean
LANGUAGE plpgsql IMMUTABLE SET search_path = public, pg_temp AS $$
DECLARE
    digits text := substr(b.head, length(a.head) + 1);
    before numeric;
BEGIN
    IF length(a.head) > length(b.head) THEN
        RETURN custody_ranges_meet(b, a);
    ELSIF length(a.head) + a.width <> length(b.head) + b.width OR left(b.head, length(a.head)) <> a.head
          OR digits !~ '^[0-9]*$' THEN
        RETURN false;
    END IF;
    before := ('0' || digits)::numeric * 10::numeric ^ b.width;
    RETURN before + b.first <= a.last AND a.first <= before + b.last;
END $$;

-- Two ranges of one mark and year never share a serial. The book's clock says when a range was set aside.
CREATE FUNCTION custody_ranges_apart() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM pg_advisory_xact_lock(hashtextextended(format('ranges %s %s', NEW.mark, NEW.year), 0));
    IF EXISTS (SELECT FROM custody_serialrange r WHERE (r.mark, r.year) = (NEW.mark, NEW.year)
                                                   AND custody_ranges_meet(r, NEW)) THEN
        PERFORM custody_refuse('serial_ranges_apart', 'This range shares serials with an earlier one.', '{}');
    END IF;
    NEW.set_at := clock_timestamp();
    RETURN NEW;
END $$;
CREATE TRIGGER serialrange_apart BEFORE INSERT ON custody_serialrange
    FOR EACH ROW EXECUTE FUNCTION custody_ranges_apart();

-- What a type weighs and holds never changes, for past bars are judged by it; a type goes out of use instead.
CREATE FUNCTION custody_bar_type_stays() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_refuse('bar_type_stays', format('Bar type %s stays as it was entered.', OLD.code),
                           jsonb_build_object('bar_type', OLD.code));
    RETURN NULL;
END $$;
CREATE TRIGGER bartype_stays BEFORE UPDATE ON custody_bartype FOR EACH ROW
    WHEN ((OLD.code, OLD.metal, OLD.nominal_mg, OLD.least_mg, OLD.most_mg, OLD.least_ppm, OLD.making)
          IS DISTINCT FROM (NEW.code, NEW.metal, NEW.nominal_mg, NEW.least_mg, NEW.most_mg, NEW.least_ppm, NEW.making))
    EXECUTE FUNCTION custody_bar_type_stays();

-- The closed box that a lot lies in, or NULL.
CREATE FUNCTION custody_box_of(of_lot bigint) RETURNS bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT x.box_id FROM custody_boxbar x WHERE x.lot_id = of_lot
       AND NOT EXISTS (SELECT FROM custody_boxopening o WHERE o.box_id = x.box_id) ORDER BY x.id DESC LIMIT 1
$$;

-- When a lot was packed, or the box that it lay in was opened, the last time; NULL where it never lay in one.
CREATE FUNCTION custody_boxed_at(of_lot bigint) RETURNS timestamptz
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT max(greatest(b.at, o.at)) FROM custody_boxbar x JOIN custody_box b ON b.id = x.box_id
      LEFT JOIN custody_boxopening o ON o.box_id = b.id WHERE x.lot_id = of_lot
$$;

CREATE FUNCTION custody_refuse_boxed(l custody_lot, box bigint) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_refuse('boxed', format('Lot %s lies in a closed box.', l.number),
        jsonb_build_object('lot', l.number, 'box', (SELECT number FROM custody_box WHERE id = box)));
END $$;

-- Nothing happens to a bar before it was packed or unpacked the last time.
CREATE FUNCTION custody_check_boxed_before(l custody_lot, at_time timestamptz) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF at_time < custody_boxed_at(l.id) THEN
        PERFORM custody_refuse('before_last_event', format('Lot %s was packed or unpacked later.', l.number),
            jsonb_build_object('lot', l.number, 'at', at_time, 'last_at', custody_boxed_at(l.id)));
    END IF;
END $$;

-- Nobody works a bar in a closed box; a box leaves whole.
CREATE FUNCTION custody_check_boxed(op custody_operation, l custody_lot, whole boolean, lots custody_lot[]) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    box bigint := custody_box_of(l.id);
BEGIN
    PERFORM custody_check_boxed_before(l, op.at);
    IF box IS NULL OR (op.kind = 'dispatch' AND whole AND NOT EXISTS (SELECT FROM custody_boxbar x
              JOIN custody_lot b ON b.id = x.lot_id
            WHERE x.box_id = box AND b.gross_mg > 0 AND NOT x.lot_id = ANY (SELECT o.id FROM unnest(lots) o))) THEN
        RETURN;
    END IF;
    PERFORM custody_refuse_boxed(l, box);
END $$;

-- What was cast is not undone while a bar of it lies in a closed box.
CREATE FUNCTION custody_check_unboxed(op custody_operation, undone custody_operation) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
BEGIN
    FOR l IN SELECT k.* FROM custody_movement m JOIN custody_lot k ON k.id = m.lot_id
              WHERE m.operation_id = undone.id AND m.side = 'out' AND k.form = 'bar' LOOP
        IF custody_box_of(l.id) IS NOT NULL THEN
            PERFORM custody_refuse_boxed(l, custody_box_of(l.id));
        END IF;
        PERFORM custody_check_boxed_before(l, op.at);
    END LOOP;
END $$;

-- A box passes whole: what lies in it has one custodian and one place. Asked at the end of the transaction, for bars
-- pass one by one.
CREATE FUNCTION custody_box_stays_together() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    box bigint := custody_box_of(NEW.lot_id);
BEGIN
    IF (SELECT count(DISTINCT (b.custodian_id, b.place_id)) > 1 FROM custody_boxbar x JOIN custody_lot b ON b.id = x.lot_id
         WHERE x.box_id = box AND b.gross_mg > 0) THEN
        PERFORM custody_refuse_boxed((SELECT b FROM custody_lot b WHERE b.id = NEW.lot_id), box);
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER handover_of_a_whole_box AFTER INSERT ON custody_handover
    DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION custody_box_stays_together();

-- Packs bars: {lots, seal, at, by, note?, request_key?}. All are bars, in one place, in the hands of who packs them.
CREATE FUNCTION custody_pack_box(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    lots custody_lot[];
    l custody_lot;
    made custody_box;
BEGIN
    PERFORM custody_open_day((request ->> 'at')::timestamptz);
    PERFORM pg_advisory_xact_lock(hashtextextended(coalesce(request ->> 'request_key', ''), 0));
    SELECT * INTO made FROM custody_box WHERE request_key = (request ->> 'request_key')::uuid;
    IF FOUND THEN
        RETURN made.id;
    ELSIF coalesce(jsonb_array_length(request -> 'lots'), 0) = 0 OR coalesce(request ->> 'seal', '') = '' THEN
        PERFORM custody_refuse('box', 'A box has a seal and at least one bar.', '{}');
    END IF;
    -- A seal is used once; whoever uses the same one waits here.
    PERFORM pg_advisory_xact_lock(hashtextextended('seal ' || upper(request ->> 'seal'), 0));
    SELECT * INTO made FROM custody_box WHERE upper(seal) = upper(request ->> 'seal');
    IF FOUND THEN
        PERFORM custody_refuse('box', format('Seal %s was put on box %s: take another one.', made.seal, made.number),
                               jsonb_build_object('seal', made.seal));
    END IF;
    lots := custody_lock_lots(ARRAY(SELECT jsonb_array_elements_text(request -> 'lots')));
    FOREACH l IN ARRAY lots LOOP
        PERFORM custody_check_packed(l, lots[1], request);
    END LOOP;
    made.id := nextval(pg_get_serial_sequence('custody_box', 'id'));
    made.number := custody_number('BX', 'custody_number_box', (request ->> 'at')::timestamptz);
    made.seal := request ->> 'seal';
    made.at := (request ->> 'at')::timestamptz;
    made.by_id := (request ->> 'by')::bigint;
    made.place_id := (lots[1]).place_id;
    made.note := coalesce(request ->> 'note', '');
    made.request_key := (request ->> 'request_key')::uuid;
    INSERT INTO custody_box SELECT made.*;
    FOR i IN 1..cardinality(lots) LOOP
        INSERT INTO custody_boxbar (box_id, position, lot_id) VALUES (made.id, i, (lots[i]).id);
    END LOOP;
    RETURN made.id;
END $$;

CREATE FUNCTION custody_check_packed(l custody_lot, first custody_lot, request jsonb) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF l.gross_mg = 0 THEN
        PERFORM custody_refuse('overdraw', format('Lot %s is empty.', l.number), jsonb_build_object('lot', l.number));
    ELSIF NOT EXISTS (SELECT FROM custody_bar WHERE lot_id = l.id AND cancelled_by_id IS NULL) THEN
        PERFORM custody_refuse('box', format('Lot %s is no bar with a serial.', l.number), jsonb_build_object('lot', l.number));
    ELSIF l.custodian_id <> (request ->> 'by')::bigint THEN
        PERFORM custody_refuse('not_custodian', format('Lot %s is in other hands.', l.number),
            jsonb_build_object('lot', l.number, 'custodian', l.custodian_id));
    ELSIF l.place_id <> first.place_id THEN
        PERFORM custody_refuse('box', format('Lot %s stands at another place.', l.number), jsonb_build_object('lot', l.number));
    ELSIF (request ->> 'at')::timestamptz < l.last_at THEN
        PERFORM custody_refuse('before_last_event', format('Lot %s has a later event.', l.number),
            jsonb_build_object('lot', l.number, 'at', request ->> 'at', 'last_at', l.last_at));
    ELSIF custody_box_of(l.id) IS NOT NULL THEN
        PERFORM custody_refuse_boxed(l, custody_box_of(l.id));
    END IF;
    PERFORM custody_check_boxed_before(l, (request ->> 'at')::timestamptz);
    PERFORM custody_check_access(l.place_id, (request ->> 'by')::bigint, (request ->> 'at')::timestamptz, l.number);
END $$;

-- Opens a box: {box, at, by, reason}. Who holds its bars opens it, and says why.
CREATE FUNCTION custody_open_box(request jsonb) RETURNS bigint
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    b custody_box;
    l custody_lot;
    made bigint;
BEGIN
    PERFORM custody_open_day((request ->> 'at')::timestamptz);
    SELECT * INTO b FROM custody_box WHERE number = request ->> 'box' FOR UPDATE;
    IF b.id IS NULL OR coalesce(request ->> 'reason', '') = '' OR (request ->> 'at')::timestamptz < b.at THEN
        PERFORM custody_refuse('box', 'A box that was packed before is opened for a reason.', '{}');
    END IF;
    SELECT id INTO made FROM custody_boxopening WHERE box_id = b.id;
    IF FOUND THEN
        RETURN made;
    END IF;
    FOREACH l IN ARRAY custody_lock_lots(ARRAY(SELECT c.number::text FROM custody_boxbar x JOIN custody_lot c ON c.id = x.lot_id
            WHERE x.box_id = b.id ORDER BY x.position)) LOOP
        IF l.gross_mg = 0 THEN
            PERFORM custody_refuse('box', format('Box %s left the house closed: nobody opens it here.', b.number), '{}');
        ELSIF l.custodian_id <> (request ->> 'by')::bigint THEN
            PERFORM custody_refuse('not_custodian', format('Lot %s is in other hands.', l.number),
                jsonb_build_object('lot', l.number, 'custodian', l.custodian_id));
        ELSIF (request ->> 'at')::timestamptz < l.last_at THEN
            PERFORM custody_refuse('before_last_event', format('Lot %s has a later event.', l.number),
                jsonb_build_object('lot', l.number, 'at', request ->> 'at', 'last_at', l.last_at));
        END IF;
        PERFORM custody_check_access(l.place_id, (request ->> 'by')::bigint, (request ->> 'at')::timestamptz, l.number);
    END LOOP;
    INSERT INTO custody_boxopening (box_id, at, by_id, reason)
    VALUES (b.id, (request ->> 'at')::timestamptz, (request ->> 'by')::bigint, request ->> 'reason') RETURNING id INTO made;
    RETURN made;
END $$;
