-- Writing lines into the book: movements, lots, the lot graph, and the provenance of every milligram.
CREATE SEQUENCE custody_number_operation;
CREATE SEQUENCE custody_number_receipt;
CREATE SEQUENCE custody_number_lot;
CREATE SEQUENCE custody_number_run;

CREATE FUNCTION custody_number(prefix text, sequence regclass, at timestamptz) RETURNS text
LANGUAGE sql SET search_path = public, pg_temp AS $$
    SELECT prefix || to_char(custody_local_day(at), 'YY') || '-' || lpad(nextval(sequence)::text, 5, '0')
$$;

CREATE FUNCTION custody_put_movement(id bigint, op custody_operation, line int, l custody_line, before bigint,
    origin bigint, spread int, codes varbit[], custodian bigint, place bigint) RETURNS void
LANGUAGE sql SET search_path = public, pg_temp AS $$
    INSERT INTO custody_movement (id, operation_id, line, side, lot_id, what, words, gross_mg, au_mg, ag_mg, pt_mg,
        pd_mg, cu_mg, valued, whole, custodian_id, place_id, content_before, spread, origin_id, codes)
    VALUES (id, op.id, line, l.side, l.lot_id, l.what, l.words, l.amounts[1], l.amounts[2], l.amounts[3],
        l.amounts[4], l.amounts[5], l.amounts[6], l.valued, l.whole, custodian, place, before, spread, origin, codes)
$$;

-- The in lines: each takes from its lot; a partial one splits the lot's vector in two, taken and rest.
-- Gives the ids of their movements.
CREATE FUNCTION custody_record_ins(op custody_operation, lines custody_line[], lots custody_lot[]) RETURNS bigint[]
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    line custody_line;
    vector record;
    mid bigint;
    ids bigint[] := '{}';
    sole bigint;
    codes varbit[];
    book bigint[];
BEGIN
    FOR i IN 1..cardinality(lots) LOOP
        l := lots[i];
        line := lines[i];
        book := custody_columns(l);
        mid := nextval('custody_movement_id_seq');
        ids[i] := mid;
        codes := NULL;
        SELECT origin_id INTO sole FROM custody_movement WHERE id = l.content_movement;
        IF sole IS NULL AND NOT line.whole THEN
            codes := array_fill(NULL::varbit, ARRAY[6]);
            FOR vector IN SELECT c.column_no, array_agg(c.origin ORDER BY c.origin) AS origins,
                                 array_agg(c.mg ORDER BY c.origin) AS mgs
                            FROM custody_content(l.content_movement, book, l.valued) c GROUP BY c.column_no LOOP
                PERFORM custody_store_vector(op.id, i, vector.column_no, vector.origins, vector.mgs);
                codes[vector.column_no + 1] := (custody_spread(vector.mgs, ARRAY[line.amounts[vector.column_no + 1],
                    book[vector.column_no + 1] - line.amounts[vector.column_no + 1]]))[1].codes;
            END LOOP;
        END IF;
        PERFORM custody_put_movement(mid, op, i, line, l.content_movement, sole,
            CASE WHEN codes IS NULL THEN 0 ELSE 2 END, codes, l.custodian_id, l.place_id);
        UPDATE custody_lot SET
            gross_mg = gross_mg - line.amounts[1], au_mg = au_mg - line.amounts[2], ag_mg = ag_mg - line.amounts[3],
            pt_mg = pt_mg - line.amounts[4], pd_mg = pd_mg - line.amounts[5], cu_mg = cu_mg - line.amounts[6],
            last_at = op.at, last_movement = mid,
            content_movement = CASE WHEN line.whole THEN content_movement ELSE mid END
         WHERE id = l.id;
    END LOOP;
    RETURN ids;
END $$;

-- An output makes its lot, or (valuation, difference) gives an existing lot its new content.
CREATE FUNCTION custody_put_lot(op custody_operation, line custody_line, mid bigint, mix custody_mixture)
RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    d jsonb := line.detail;
BEGIN
    IF d ? 'continues' THEN
        UPDATE custody_lot SET gross_mg = line.amounts[1], au_mg = line.amounts[2], ag_mg = line.amounts[3],
            pt_mg = line.amounts[4], pd_mg = line.amounts[5], cu_mg = line.amounts[6], valued = line.valued,
            last_at = op.at, last_movement = mid, content_movement = mid WHERE id = line.lot_id;
        RETURN;
    END IF;
    INSERT INTO custody_lot (id, number, form, created_by_id, receipt_id, declared_origin, owner_id, pooled,
        custody_model, clearance, valued, run_id, custodian_id, place_id, last_at, last_movement, content_movement,
        gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg)
    VALUES (line.lot_id, line.number, d ->> 'form', op.id, mix.receipt_id, mix.declared_origin, mix.owner_id,
        mix.pooled, mix.custody_model, mix.clearance, line.valued,
        CASE WHEN d ->> 'form' = 'in process' THEN op.run_id END, (d ->> 'custodian_id')::bigint,
        (d ->> 'place_id')::bigint, op.at, mid, mid,
        line.amounts[1], line.amounts[2], line.amounts[3], line.amounts[4], line.amounts[5], line.amounts[6]);
END $$;

CREATE FUNCTION custody_put_bar(op custody_operation, line custody_line) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    the_mark text := coalesce(line.detail ->> 'mark', (SELECT mark FROM custody_refinery WHERE id = 1), '');
    the_year int := extract(year FROM op.day);
    old_bar bigint;
BEGIN
    IF line.detail ? 'replaces' THEN
        SELECT id INTO old_bar FROM custody_bar b WHERE b.serial = line.detail ->> 'serial' AND b.mark = the_mark
            AND b.year = the_year AND b.lot_id = (SELECT id FROM custody_lot WHERE number = line.detail ->> 'replaces');
    END IF;
    INSERT INTO custody_bar (lot_id, mark, serial, year, replaces_id)
    VALUES (line.lot_id, the_mark, line.detail ->> 'serial', the_year, old_bar);
END $$;

-- The pool: what all in lines took and all gains brought, by column and origin.
CREATE TYPE custody_pool AS (origins bigint[], mgs bigint[]);
CREATE FUNCTION custody_pool_of(in_ids bigint[], gain_columns int[], gain_origins bigint[], gain_mgs bigint[])
RETURNS custody_pool[]
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    pools custody_pool[] := array_fill(NULL::custody_pool, ARRAY[6]);
    p record;
BEGIN
    FOR p IN
        SELECT s.column_no, array_agg(s.origin ORDER BY s.origin) AS origins, array_agg(s.mg ORDER BY s.origin) AS mgs
          FROM (SELECT u.column_no, u.origin, sum(u.mg)::bigint AS mg
                  FROM (SELECT t.column_no, t.origin, t.mg FROM unnest(in_ids) i, custody_taken(i) t
                        UNION ALL SELECT * FROM unnest(gain_columns, gain_origins, gain_mgs)) u
                 GROUP BY u.column_no, u.origin) s
         WHERE s.mg <> 0 GROUP BY s.column_no
    LOOP
        pools[p.column_no + 1] := ROW(p.origins, p.mgs)::custody_pool;
    END LOOP;
    RETURN pools;
END $$;

-- A gain over book becomes an origin called difference.
CREATE FUNCTION custody_gain(op custody_operation, amounts bigint[]) RETURNS bigint
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    oid bigint;
BEGIN
    INSERT INTO custody_origin (kind, operation_id) VALUES ('difference', op.id) RETURNING id INTO oid;
    INSERT INTO custody_originreceipt (origin_id, operation_id, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg)
    VALUES (oid, op.id, 0, amounts[2], amounts[3], amounts[4], amounts[5], amounts[6]);
    RETURN oid;
END $$;

-- Spreads the pool over outputs and losses (positive ones, in the order given) and writes them all.
-- pools is NULL where everything is one origin's.
CREATE FUNCTION custody_record_outs(op custody_operation, lines custody_line[], first_line int,
    pools custody_pool[], sole bigint, mix custody_mixture) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    n int := cardinality(lines);
    codes varbit[] := array_fill(NULL::varbit, ARRAY[n, 6]);
    own boolean[] := array_fill(false, ARRAY[n]);
    shares custody_share[];
    amounts bigint[];
    mid bigint;
    line custody_line;
BEGIN
    FOR c IN 1..6 LOOP
        CONTINUE WHEN pools IS NULL OR (pools[c]).origins IS NULL;
        PERFORM custody_store_vector(op.id, 0, c - 1, (pools[c]).origins, (pools[c]).mgs);
        SELECT array_agg(CASE WHEN u.side IN ('out', 'loss') THEN greatest(u.amounts[c], 0) ELSE 0 END ORDER BY u.i)
          INTO amounts FROM unnest(lines) WITH ORDINALITY u(side, a, b, d, e, amounts, g, h, j, i);
        shares := custody_spread((pools[c]).mgs, amounts);
        FOR i IN 1..n LOOP
            codes[i][c] := (shares[i]).codes;
            own[i] := own[i] OR (shares[i]).whole IS NOT NULL;
        END LOOP;
    END LOOP;
    FOR i IN 1..n LOOP
        line := lines[i];
        mid := nextval('custody_movement_id_seq');
        -- A recovery has its vector already: the origins that were lost.
        own[i] := own[i] OR (line.side = 'loss' AND line.what <> 'measurement difference' AND least(line.amounts[2],
            line.amounts[3], line.amounts[4], line.amounts[5], line.amounts[6]) < 0);
        IF own[i] THEN
            PERFORM custody_store_own(op, lines, i, first_line + i - 1, pools);
        END IF;
        PERFORM custody_put_movement(mid, op, first_line + i - 1, line, NULL,
            CASE WHEN line.side IN ('out', 'loss') THEN sole END,
            CASE WHEN sole IS NOT NULL OR line.side = 'add' THEN 0 WHEN own[i] THEN 3 ELSE 1 END,
            CASE WHEN pools IS NOT NULL AND line.side <> 'add' AND NOT own[i]
                 THEN ARRAY(SELECT codes[i][c] FROM generate_series(1, 6) c) END,
            (line.detail ->> 'custodian_id')::bigint, (line.detail ->> 'place_id')::bigint);
        IF line.side = 'out' AND line.lot_id IS NOT NULL THEN
            PERFORM custody_put_lot(op, line, mid, mix);
            IF line.detail ->> 'form' = 'bar' AND line.detail ? 'serial' THEN
                PERFORM custody_put_bar(op, line);
            END IF;
        END IF;
    END LOOP;
END $$;

-- Where two bits an origin do not reach, the line keeps a vector of its own.
CREATE FUNCTION custody_store_own(op custody_operation, lines custody_line[], i int, at_line int, pools custody_pool[])
RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    given bigint[];
    amount bigint;
    total bigint;
    cumulative bigint;
BEGIN
    FOR c IN 1..6 LOOP
        CONTINUE WHEN (pools[c]).origins IS NULL OR lines[i].amounts[c] <= 0;
        given := array_fill(0::bigint, ARRAY[cardinality((pools[c]).mgs)]);
        total := (SELECT sum(p) FROM unnest((pools[c]).mgs) p);
        cumulative := 0;
        FOR k IN 1..i LOOP
            amount := CASE WHEN lines[k].side IN ('out', 'loss') THEN greatest(lines[k].amounts[c], 0) ELSE 0 END;
            CONTINUE WHEN amount = 0;
            cumulative := cumulative + amount;
            IF k = i THEN
                PERFORM custody_store_vector(op.id, at_line, c - 1, (SELECT array_agg(o ORDER BY o) FROM
                        unnest((pools[c]).origins, custody_spread_one((pools[c]).mgs, given, amount, cumulative, total))
                        u(o, mg) WHERE mg > 0),
                    (SELECT array_agg(mg ORDER BY o) FROM
                        unnest((pools[c]).origins, custody_spread_one((pools[c]).mgs, given, amount, cumulative, total))
                        u(o, mg) WHERE mg > 0));
            ELSE
                given := ARRAY(SELECT g + s FROM unnest(given,
                    custody_spread_one((pools[c]).mgs, given, amount, cumulative, total)) WITH ORDINALITY u(g, s, j)
                    ORDER BY j);
            END IF;
        END LOOP;
    END LOOP;
END $$;
