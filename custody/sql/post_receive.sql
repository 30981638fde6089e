-- The exchange terms under which the assays of a party's material are exchanged: those in force on the day of its
-- receipt. None for what is no material of the party's: samples, slag, what is swept up.
CREATE FUNCTION custody_exchange_agreed(of_party bigint, of_form text, on_day date) RETURNS bigint
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT CASE WHEN NOT t.ended THEN t.id END FROM custody_exchangeterms t
     WHERE t.party_id = of_party AND t.valid_from <= on_day
       AND of_form NOT IN ('sample', 'slag', 'in process', 'crucible', 'filter', 'lining', 'sweepings')
     ORDER BY t.valid_from DESC, t.id DESC LIMIT 1
$$;

-- A receipt: parcels across the counter. Every parcel is an origin. Live parcels are unvalued until an accepted assay
-- values them, and wait for release; a past record (history) counts as valued by its fine metal and released. A record
-- that a program sends counts as valued too, unless its assays are exchanged, and as released only in the name of
-- somebody who may release.
CREATE FUNCTION custody_post_receive(op custody_operation, rule custody_rule, request jsonb) RETURNS jsonb
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    entry jsonb;
    line custody_line;
    rest custody_line[] := '{}';
    of_owner bigint;
    oid bigint;
    m custody_movement;
    rows custody_movement[] := '{}';
    made custody_lot[] := '{}';
    mix custody_mixture;
    d jsonb;
BEGIN
    IF jsonb_array_length(coalesce(request -> 'inputs', '[]')) > 0
            OR jsonb_array_length(coalesce(request -> 'additions', '[]')) > 0
            OR jsonb_array_length(coalesce(request -> 'losses', '[]')) > 0 THEN
        PERFORM custody_refuse('receive', 'A receipt has outputs only.', '{}');
    ELSIF op.party_id IS NULL THEN
        PERFORM custody_refuse('unknown_party', 'A receipt names the party that delivers.', '{}');
    END IF;
    IF coalesce(request ->> 'owner', CASE WHEN op.basis = 'toll' THEN request ->> 'party' END) IS NOT NULL
            AND op.basis <> 'purchase' THEN
        SELECT id INTO of_owner FROM custody_party WHERE code = coalesce(request ->> 'owner', request ->> 'party');
        IF of_owner IS NULL THEN
            PERFORM custody_refuse('unknown_party', 'There is no such owner.', jsonb_build_object('party', request ->> 'owner'));
        END IF;
    END IF;
    FOR entry IN SELECT * FROM jsonb_array_elements(coalesce(request -> 'outputs', '[]')) LOOP
        IF op.source = 'api' AND entry ? 'fine_mg'
                AND custody_exchange_agreed(op.party_id, entry ->> 'form', op.day) IS NOT NULL THEN
            PERFORM custody_refuse('exchange_agreed', 'The assays of this party''s material are exchanged.',
                                   jsonb_build_object('lot', entry ->> 'lot', 'party', request ->> 'party'));
        END IF;
        IF entry ->> 'form' = 'in process' THEN
            PERFORM custody_refuse('receive', 'What is in process in a vessel is no parcel.', '{}');
        END IF;
        line := custody_ready_output(op, custody_read_output(op, entry,
            NOT (entry ? 'fine_mg' AND op.source <> 'live')), NULL);
        rest := rest || line;
    END LOOP;
    IF cardinality(rest) = 0 THEN
        PERFORM custody_refuse('no_outputs', 'A receipt has at least one parcel.', '{}');
    END IF;
    rows[1] := custody_movement_of(op, 1, ROW('in', NULL, NULL, 'delivered', '', custody_sum(rest, ARRAY['out']), false,
                                              true, '{}'::jsonb)::custody_line, NULL, NULL);
    FOR i IN 1..cardinality(rest) LOOP
        line := rest[i];
        d := line.detail;
        mix := ROW(op.id, concat_ws('|', d #>> '{origin,category}', d #>> '{origin,country}', d #>> '{origin,mine}'),
            of_owner, false, coalesce(d ->> 'custody_model', 'mass balance'),
            CASE WHEN op.source = 'history' OR op.source = 'api' AND EXISTS (SELECT FROM custody_rolegrant
                WHERE user_id = op.by_id AND role = 'compliance officer') THEN 'released' ELSE 'awaiting release' END,
            line.valued, false);
        INSERT INTO custody_origin (kind, lot_id, operation_id) VALUES ('parcel', line.lot_id, op.id) RETURNING id INTO oid;
        m := custody_movement_of(op, i + 1, line, (d ->> 'custodian_id')::bigint, (d ->> 'place_id')::bigint);
        m.origin_id := oid;
        rows := rows || m;
        made := made || custody_lot_of(op, line, m, mix);
        INSERT INTO custody_parcel (lot_id, line, category, country, mine, pieces, description, seal,
            declared_gross_mg, declared_au_ppm, declared_ag_ppm, declared_words, export_paper, transport_paper,
            returned_from_id)
        VALUES (line.lot_id, i, coalesce(d #>> '{origin,category}', ''), coalesce(d #>> '{origin,country}', ''),
            coalesce(d #>> '{origin,mine}', ''), (d ->> 'pieces')::int, coalesce(d ->> 'description', ''),
            coalesce(d ->> 'seal', ''), (d ->> 'declared_gross_mg')::bigint, (d ->> 'declared_au_ppm')::int,
            (d ->> 'declared_ag_ppm')::int, coalesce(d ->> 'declared_words', ''), coalesce(d ->> 'export_paper', ''),
            coalesce(d ->> 'transport_paper', ''), custody_returned_bar(d));
        INSERT INTO custody_originreceipt (origin_id, operation_id, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg)
        VALUES (oid, op.id, line.amounts[1], line.amounts[2], line.amounts[3], line.amounts[4], line.amounts[5],
                line.amounts[6]);
    END LOOP;
    PERFORM custody_write_outs(op, rows, made);
    FOREACH line IN ARRAY rest LOOP
        IF line.detail ->> 'form' = 'bar' AND line.detail ? 'serial' AND NOT line.detail ? 'returned_from' THEN
            PERFORM custody_put_bar(op, line);
        END IF;
    END LOOP;
    IF request ? 'delivery' THEN
        PERFORM custody_record_delivery(op, request -> 'delivery');
    END IF;
    IF request ? 'purchase' THEN
        PERFORM custody_record_purchase(op, request -> 'purchase', ARRAY(SELECT r.lot_id FROM unnest(rest) r),
                                        ARRAY(SELECT r.amounts[1] FROM unnest(rest) r));
    END IF;
    RETURN custody_seal(op, cardinality(rest) + 1);
END $$;

-- A bar that comes back over the counter is a new parcel that names it.
CREATE FUNCTION custody_returned_bar(d jsonb) RETURNS bigint
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    bar bigint;
BEGIN
    IF NOT d ? 'returned_from' THEN
        RETURN NULL;
    END IF;
    SELECT b.id INTO bar FROM custody_bar b JOIN custody_lot l ON l.id = b.lot_id
     WHERE l.number = d ->> 'returned_from' AND l.gross_mg = 0;
    IF bar IS NULL THEN
        PERFORM custody_refuse('unknown_bar', 'No bar of this house left under that lot number.',
                               jsonb_build_object('lot', d ->> 'returned_from'));
    END IF;
    RETURN bar;
END $$;
