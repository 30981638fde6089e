-- Writing lines into the book: movements, lots, the lot graph, and the provenance of every milligram.
CREATE SEQUENCE custody_number_operation;
CREATE SEQUENCE custody_number_receipt;
CREATE SEQUENCE custody_number_lot;
CREATE SEQUENCE custody_number_run;

CREATE FUNCTION custody_number(prefix text, sequence regclass, at timestamptz) RETURNS text
LANGUAGE sql SET search_path = public, pg_temp AS $$
    SELECT prefix || to_char(custody_local_day(at), 'YY') || '-' || lpad(nextval(sequence)::text, 5, '0')
$$;

-- A line's row in the book. Rows are made first and written together: one statement for all lines of an operation.
CREATE FUNCTION custody_movement_of(op custody_operation, at_line int, l custody_line, custodian bigint, place bigint)
RETURNS custody_movement
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    m custody_movement;
BEGIN
    m.id := nextval('custody_movement_id_seq');
    m.operation_id := op.id;
    m.line := at_line;
    m.side := l.side;
    m.lot_id := l.lot_id;
    m.what := l.what;
    m.words := l.words;
    m.gross_mg := l.amounts[1];
    m.au_mg := l.amounts[2];
    m.ag_mg := l.amounts[3];
    m.pt_mg := l.amounts[4];
    m.pd_mg := l.amounts[5];
    m.cu_mg := l.amounts[6];
    m.valued := l.valued;
    m.whole := l.whole;
    m.spread := 0;
    m.custodian_id := custodian;
    m.place_id := place;
    RETURN m;
END $$;

-- The in lines: each takes from its lot; a partial one splits the lot's vector in two, taken and rest.
-- Gives their rows, which are written with the others of the operation.
CREATE FUNCTION custody_record_ins(op custody_operation, lines custody_line[], lots custody_lot[])
RETURNS custody_movement[]
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    m custody_movement;
    rows custody_movement[] := '{}';
    pools custody_pool[];
    taken bigint;
    rest bigint;
BEGIN
    FOR i IN 1..cardinality(lots) LOOP
        l := lots[i];
        m := custody_movement_of(op, i, lines[i], l.custodian_id, l.place_id);
        m.content_before := l.content_movement;
        SELECT origin_id INTO m.origin_id FROM custody_movement WHERE id = l.content_movement;
        IF m.origin_id IS NULL AND NOT m.whole THEN
            m.spread := 2;
            m.codes := array_fill(NULL::varbit, ARRAY[6]);
            pools := custody_pools_in(l);
            PERFORM custody_store_vectors(op.id, i, pools, l.form = 'in process');
            FOR c IN 1..6 LOOP
                CONTINUE WHEN (pools[c]).origins IS NULL;
                taken := (lines[i]).amounts[c];
                rest := (custody_columns(l))[c] - taken;
                m.codes[c] := (custody_spread((pools[c]).mgs, ARRAY[taken, rest]))[1].codes;
            END LOOP;
        END IF;
        rows[i] := m;
    END LOOP;
    UPDATE custody_lot t SET
        gross_mg = t.gross_mg - r.gross_mg, au_mg = t.au_mg - r.au_mg, ag_mg = t.ag_mg - r.ag_mg,
        pt_mg = t.pt_mg - r.pt_mg, pd_mg = t.pd_mg - r.pd_mg, cu_mg = t.cu_mg - r.cu_mg,
        last_at = op.at, last_movement = r.id,
        content_movement = CASE WHEN r.whole THEN t.content_movement ELSE r.id END
      FROM unnest(rows) r WHERE t.id = r.lot_id;
    RETURN rows;
END $$;

-- A new lot's row.
CREATE FUNCTION custody_lot_of(op custody_operation, line custody_line, m custody_movement, mix custody_mixture)
RETURNS custody_lot
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
BEGIN
    l.id := line.lot_id;
    l.number := line.number;
    l.form := line.detail ->> 'form';
    l.created_by_id := op.id;
    l.receipt_id := mix.receipt_id;
    l.declared_origin := mix.declared_origin;
    l.owner_id := mix.owner_id;
    l.pooled := mix.pooled;
    l.custody_model := mix.custody_model;
    l.clearance := mix.clearance;
    l.valued := line.valued;
    l.run_id := CASE WHEN l.form = 'in process' THEN op.run_id END;
    l.custodian_id := m.custodian_id;
    l.place_id := m.place_id;
    l.last_at := op.at;
    l.last_movement := m.id;
    l.content_movement := m.id;
    l.gross_mg := m.gross_mg;
    l.au_mg := m.au_mg;
    l.ag_mg := m.ag_mg;
    l.pt_mg := m.pt_mg;
    l.pd_mg := m.pd_mg;
    l.cu_mg := m.cu_mg;
    RETURN l;
END $$;

-- Writes the rows of an operation, the lots that they make, and (valuation, difference) the new
-- content of the lots that go on.
CREATE FUNCTION custody_write_outs(op custody_operation, rows custody_movement[], made custody_lot[]) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    INSERT INTO custody_movement SELECT * FROM unnest(rows);
    INSERT INTO custody_lot SELECT * FROM unnest(made);
    IF op.kind IN ('value', 'difference') THEN
        UPDATE custody_lot t SET gross_mg = r.gross_mg, au_mg = r.au_mg, ag_mg = r.ag_mg, pt_mg = r.pt_mg,
            pd_mg = r.pd_mg, cu_mg = r.cu_mg, valued = r.valued, last_at = op.at, last_movement = r.id,
            content_movement = r.id
          FROM unnest(rows) r WHERE r.side = 'out' AND t.id = r.lot_id;
    END IF;
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
    INSERT INTO custody_bar (lot_id, mark, serial, year, replaces_id, bar_type_id)
    VALUES (line.lot_id, the_mark, line.detail ->> 'serial', the_year, old_bar,
            custody_check_bar(op, line, the_mark, the_year));
END $$;

-- What a lot holds, by column and origin.
CREATE FUNCTION custody_pools_in(l custody_lot) RETURNS custody_pool[]
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    pools custody_pool[] := array_fill(NULL::custody_pool, ARRAY[6]);
    p record;
BEGIN
    FOR p IN SELECT c.column_no, array_agg(c.origin ORDER BY c.origin) AS origins, array_agg(c.mg ORDER BY c.origin) AS mgs
               FROM custody_content(l.content_movement, custody_columns(l), l.valued) c GROUP BY c.column_no LOOP
        pools[p.column_no + 1] := ROW(p.origins, p.mgs)::custody_pool;
    END LOOP;
    RETURN pools;
END $$;

-- The pool: what all in lines took and all gains brought, by column and origin.
CREATE FUNCTION custody_pool_of(ins custody_movement[], gain_columns int[], gain_origins bigint[], gain_mgs bigint[])
RETURNS custody_pool[]
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    pools custody_pool[] := array_fill(NULL::custody_pool, ARRAY[6]);
    p record;
BEGIN
    FOR p IN
        SELECT s.column_no, array_agg(s.origin ORDER BY s.origin) AS origins, array_agg(s.mg ORDER BY s.origin) AS mgs
          FROM (SELECT u.column_no, u.origin, sum(u.mg)::bigint AS mg
                  FROM (SELECT i - 1 AS column_no, m.origin_id AS origin, c.mg
                          FROM unnest(ins) m, unnest(ARRAY[m.gross_mg, m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg])
                               WITH ORDINALITY c(mg, i) WHERE m.origin_id IS NOT NULL AND (i > 1) = m.valued
                        UNION ALL
                        SELECT t.column_no, t.origin, t.mg FROM unnest(ins) m, custody_taken(m) t
                         WHERE m.origin_id IS NULL
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

-- Spreads the pool over outputs and losses (positive ones, in the order given) and writes all rows of the operation,
-- those of its ins too. pools is NULL where everything is one origin's.
CREATE FUNCTION custody_record_outs(op custody_operation, ins custody_movement[], lines custody_line[],
    pools custody_pool[], sole bigint, mix custody_mixture) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    first_line int := cardinality(ins) + 1;
    shares custody_share[];      -- six a line, one a column
    own boolean;
    m custody_movement;
    rows custody_movement[] := ins;
    made custody_lot[] := '{}';
    bars int[] := '{}';
    bar int;
    line custody_line;
BEGIN
    shares := custody_shares(op, lines, pools);
    FOR i IN 1..cardinality(lines) LOOP
        line := lines[i];
        m := custody_movement_of(op, first_line + i - 1, line, (line.detail ->> 'custodian_id')::bigint,
                                 (line.detail ->> 'place_id')::bigint);
        IF sole IS NOT NULL THEN
            m.origin_id := CASE WHEN line.side <> 'add' THEN sole END;
        ELSIF line.side <> 'add' THEN
            -- A recovery has its vector already: the origins that were lost.
            own := line.side = 'loss' AND line.what <> 'measurement difference' AND least(m.au_mg, m.ag_mg, m.pt_mg,
                m.pd_mg, m.cu_mg) < 0;
            FOR c IN 1..6 LOOP
                m.codes[c] := (shares[6 * i + c - 6]).codes;
                own := own OR (shares[6 * i + c - 6]).whole IS NOT NULL;
            END LOOP;
            m.spread := 1;
            IF own THEN
                PERFORM custody_store_own(op, lines, i, first_line + i - 1, pools);
                m.spread := 3;
                m.codes := NULL;
            END IF;
        END IF;
        rows := rows || m;
        IF line.side = 'out' AND line.lot_id IS NOT NULL AND NOT line.detail ? 'continues' THEN
            made := made || custody_lot_of(op, line, m, mix);
            IF line.detail ->> 'form' = 'bar' AND line.detail ? 'serial' THEN
                bars := bars || i;
            END IF;
        END IF;
    END LOOP;
    PERFORM custody_write_outs(op, rows, made);
    FOREACH bar IN ARRAY bars LOOP
        PERFORM custody_put_bar(op, lines[bar]);
    END LOOP;
END $$;

-- Stores the pools of the operation and shares each over the lines: six shares a line, one a column.
CREATE FUNCTION custody_shares(op custody_operation, lines custody_line[], pools custody_pool[]) RETURNS custody_share[]
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    n int := cardinality(lines);
    shares custody_share[] := array_fill(NULL::custody_share, ARRAY[6 * n]);
    of_column custody_share[];
    amounts bigint[];
BEGIN
    IF pools IS NULL THEN
        RETURN NULL;
    END IF;
    PERFORM custody_store_vectors(op.id, 0, pools, op.kind = 'charge');
    FOR c IN 1..6 LOOP
        CONTINUE WHEN (pools[c]).origins IS NULL;
        FOR i IN 1..n LOOP
            amounts[i] := CASE WHEN (lines[i]).side IN ('out', 'loss') THEN greatest((lines[i]).amounts[c], 0) ELSE 0 END;
        END LOOP;
        of_column := custody_spread((pools[c]).mgs, amounts);
        FOR i IN 1..n LOOP
            shares[6 * i + c - 6] := of_column[i];
        END LOOP;
    END LOOP;
    RETURN shares;
END $$;

-- Where two bits an origin do not reach, the line keeps a vector of its own.
CREATE FUNCTION custody_store_own(op custody_operation, lines custody_line[], i int, at_line int, pools custody_pool[])
RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    own custody_pool[] := array_fill(NULL::custody_pool, ARRAY[6]);
    before bigint[];
    given bigint[];
    amount bigint;
    total bigint;
    cumulative bigint;
BEGIN
    FOR c IN 1..6 LOOP
        CONTINUE WHEN (pools[c]).origins IS NULL OR (lines[i]).amounts[c] <= 0;
        given := array_fill(0::bigint, ARRAY[cardinality((pools[c]).mgs)]);
        total := (SELECT sum(p) FROM unnest((pools[c]).mgs) p);
        cumulative := 0;
        FOR k IN 1..i LOOP
            amount := CASE WHEN (lines[k]).side IN ('out', 'loss') THEN greatest((lines[k]).amounts[c], 0) ELSE 0 END;
            CONTINUE WHEN amount = 0;
            cumulative := cumulative + amount;
            before := given;
            given := custody_spread_one((pools[c]).mgs, given, amount, cumulative, total);
        END LOOP;
        own[c] := (SELECT ROW(array_agg(o ORDER BY o), array_agg(g - b ORDER BY o))::custody_pool
                     FROM unnest((pools[c]).origins, before, given) u(o, b, g) WHERE g > b);
    END LOOP;
    PERFORM custody_store_vectors(op.id, at_line, own, false);
END $$;
