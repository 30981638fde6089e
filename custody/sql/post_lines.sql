-- Reading a request into lines. A request is the operation record of the history file with masses in milligrams:
-- {kind, at, by, inputs: [{lot, gross_mg?, fine_mg?}], additions: [{what, gross_mg}],
--  outputs: [{lot?, form, gross_mg, fine_mg?, place?, …}], losses: [{cause, gross_mg, fine_mg?, words?}], …}
CREATE TYPE custody_line AS (
    side text, lot_id bigint, number text, what text, words text, amounts bigint[], whole boolean, valued boolean,
    detail jsonb);

CREATE FUNCTION custody_read_amounts(entry jsonb) RETURNS bigint[]
LANGUAGE sql IMMUTABLE AS $$
    SELECT ARRAY[coalesce((entry ->> 'gross_mg')::bigint, 0),
                 coalesce((entry #>> '{fine_mg,Au}')::bigint, 0), coalesce((entry #>> '{fine_mg,Ag}')::bigint, 0),
                 coalesce((entry #>> '{fine_mg,Pt}')::bigint, 0), coalesce((entry #>> '{fine_mg,Pd}')::bigint, 0),
                 coalesce((entry #>> '{fine_mg,Cu}')::bigint, 0)]
$$;

CREATE FUNCTION custody_sum(lines custody_line[], of_sides text[]) RETURNS bigint[]
LANGUAGE plpgsql IMMUTABLE SET search_path = public, pg_temp AS $$
DECLARE
    line custody_line;
    a bigint[];
    total bigint[] := '{0,0,0,0,0,0}';
BEGIN
    FOREACH line IN ARRAY lines LOOP
        CONTINUE WHEN NOT line.side = ANY (of_sides);
        a := line.amounts;
        total := ARRAY[total[1] + a[1], total[2] + a[2], total[3] + a[3], total[4] + a[4], total[5] + a[5],
                       total[6] + a[6]];
    END LOOP;
    RETURN total;
END $$;

-- Locks the named lots in id order (second lock, after the month) and gives them in the order named.
CREATE FUNCTION custody_lock_lots(numbers text[]) RETURNS custody_lot[]
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    found_lots jsonb := '{}';
    locked custody_lot[] := '{}';
    place int;
BEGIN
    locked := array_fill(NULL::custody_lot, ARRAY[cardinality(numbers)]);
    FOR l IN SELECT * FROM custody_lot WHERE number = ANY (numbers) ORDER BY id FOR UPDATE LOOP
        place := array_position(numbers, l.number::text);
        locked[place] := l;
    END LOOP;
    FOR place IN 1..cardinality(numbers) LOOP
        IF array_position(numbers, numbers[place]) < place THEN
            PERFORM custody_refuse('lot_twice', format('Lot %s is named twice.', numbers[place]),
                                   jsonb_build_object('lot', numbers[place]));
        ELSIF (locked[place]).id IS NULL THEN
            PERFORM custody_refuse('unknown_lot', format('There is no lot %s.', numbers[place]),
                                   jsonb_build_object('lot', numbers[place]));
        END IF;
    END LOOP;
    RETURN locked;
END $$;

-- Whether this operation may touch this lot at all, and who must hold it. ``physical`` operations need it in hand.
CREATE FUNCTION custody_check_lot(op custody_operation, l custody_lot, physical boolean) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF l.gross_mg = 0 THEN
        PERFORM custody_refuse('overdraw', format('Lot %s is empty.', l.number),
            jsonb_build_object('lot', l.number, 'book_mg', 0));
    ELSIF op.at < l.last_at THEN
        PERFORM custody_refuse('before_last_event', format('Lot %s has a later event.', l.number),
            jsonb_build_object('lot', l.number, 'at', op.at, 'last_at', l.last_at));
    ELSIF physical AND l.clearance = 'held' THEN
        PERFORM custody_refuse('held_lot', format('Lot %s is held.', l.number), jsonb_build_object('lot', l.number));
    ELSIF physical AND l.custodian_id <> op.by_id THEN
        PERFORM custody_refuse('not_custodian', format('Lot %s is in other hands.', l.number),
            jsonb_build_object('lot', l.number, 'custodian', l.custodian_id));
    ELSIF l.form = 'in process' AND op.kind NOT IN ('charge', 'draw', 'finish', 'value', 'difference') THEN
        PERFORM custody_refuse('in_process', format('Lot %s is in process.', l.number),
            jsonb_build_object('lot', l.number));
    END IF;
END $$;

-- How much an in line takes: the whole lot, a gross that the metals follow, or (a draw) exactly what it names.
CREATE FUNCTION custody_take(op custody_operation, l custody_lot, entry jsonb) RETURNS custody_line
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    book bigint[] := custody_columns(l);
    taken bigint[] := custody_read_amounts(entry);
BEGIN
    IF NOT entry ? 'gross_mg' AND NOT entry ? 'fine_mg' THEN
        taken := book;
    ELSIF taken[1] <= 0 AND NOT (op.kind = 'draw' AND taken[1] = 0) THEN
        PERFORM custody_refuse('negative_amount', format('Take a positive mass from lot %s.', l.number),
            jsonb_build_object('lot', l.number));
    ELSIF entry ? 'fine_mg' AND op.kind <> 'draw' THEN
        PERFORM custody_refuse('metals_follow', 'Only a draw from a run names its metals.',
            jsonb_build_object('lot', l.number));
    ELSIF NOT entry ? 'fine_mg' AND taken[1] < book[1] THEN
        taken := custody_withdraw(book, taken[1]);
    ELSIF NOT entry ? 'fine_mg' AND taken[1] = book[1] THEN
        taken := book;
    END IF;
    FOR i IN 1..6 LOOP
        IF taken[i] > book[i] OR taken[i] < 0 THEN
            PERFORM custody_refuse('overdraw', format('Lot %s does not hold that much.', l.number),
                jsonb_build_object('lot', l.number, 'column', i - 1, 'book_mg', book[i], 'asked_mg', taken[i],
                                   'missing_mg', taken[i] - book[i]));
        END IF;
    END LOOP;
    IF book[2] + book[3] + book[4] + book[5] + book[6] - taken[2] - taken[3] - taken[4] - taken[5] - taken[6]
            > book[1] - taken[1] THEN
        PERFORM custody_refuse('metals_over_gross', format('What is left of %s would be more metal than mass.', l.number),
            jsonb_build_object('lot', 'what is left of ' || l.number, 'gross_mg', book[1] - taken[1]));
    END IF;
    RETURN ROW('in', l.id, l.number, '', '', taken, taken = book, l.valued, entry)::custody_line;
END $$;

CREATE FUNCTION custody_read_output(op custody_operation, entry jsonb, unvalued boolean) RETURNS custody_line
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    amounts bigint[] := custody_read_amounts(entry);
    named text := coalesce(entry ->> 'lot', 'new lot');
BEGIN
    IF amounts[1] <= 0 OR least(amounts[2], amounts[3], amounts[4], amounts[5], amounts[6]) < 0 THEN
        PERFORM custody_refuse('negative_amount', format('Give %s a positive mass.', named),
                               jsonb_build_object('lot', named));
    ELSIF amounts[2] + amounts[3] + amounts[4] + amounts[5] + amounts[6] > amounts[1] THEN
        PERFORM custody_refuse('metals_over_gross', format('The metals of %s exceed its gross.', named),
            jsonb_build_object('lot', named, 'gross_mg', amounts[1]));
    ELSIF unvalued AND entry ? 'fine_mg' AND amounts[2:6] <> '{0,0,0,0,0}' THEN
        PERFORM custody_refuse('not_valued', 'An unvalued lot has no metal until its assay is accepted.',
            jsonb_build_object('lot', named));
    END IF;
    RETURN ROW('out', NULL, entry ->> 'lot', '', coalesce(entry ->> 'words', ''), amounts, false, NOT unvalued, entry)::custody_line;
END $$;

CREATE FUNCTION custody_read_loss(rule custody_rule, entry jsonb) RETURNS custody_line
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    amounts bigint[] := custody_read_amounts(entry);
    metals text[] := ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu'];
BEGIN
    IF NOT entry ->> 'cause' = ANY (rule.causes) THEN
        PERFORM custody_refuse('cause', format('%s cannot declare a loss by %s.', rule.kind, entry ->> 'cause'),
            jsonb_build_object('kind', rule.kind, 'cause', entry ->> 'cause', 'causes', to_jsonb(rule.causes)));
    ELSIF entry ->> 'cause' = 'other' AND coalesce(entry ->> 'words', '') = '' THEN
        PERFORM custody_refuse('cause_words', 'A loss by another cause needs words.', '{}');
    END IF;
    FOR i IN 1..5 LOOP
        IF amounts[i + 1] <> 0 AND NOT metals[i] = ANY (rule.lost) THEN
            PERFORM custody_refuse('cause', format('%s cannot lose %s.', rule.kind, metals[i]),
                jsonb_build_object('kind', rule.kind, 'metal', metals[i]));
        END IF;
    END LOOP;
    RETURN ROW('loss', NULL, NULL, entry ->> 'cause', coalesce(entry ->> 'words', ''), amounts, false, true,
               entry)::custody_line;
END $$;

CREATE FUNCTION custody_read_addition(rule custody_rule, entry jsonb) RETURNS custody_line
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    amounts bigint[] := custody_read_amounts(entry);
BEGIN
    IF NOT entry ->> 'what' = ANY (rule.additions) OR entry ->> 'what' = 'valuation' THEN
        PERFORM custody_refuse('addition', format('%s takes no %s.', rule.kind, entry ->> 'what'),
            jsonb_build_object('kind', rule.kind, 'what', entry ->> 'what', 'additions', to_jsonb(rule.additions)));
    ELSIF amounts[1] < 0 OR amounts[2:6] <> '{0,0,0,0,0}' THEN
        PERFORM custody_refuse('addition_metal', 'An addition brings mass and no metal; metal comes in as a lot.',
            jsonb_build_object('what', entry ->> 'what'));
    END IF;
    RETURN ROW('add', NULL, NULL, entry ->> 'what', '', amounts, false, true, entry)::custody_line;
END $$;
