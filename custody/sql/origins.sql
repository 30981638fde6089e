-- I5, conserved origin: what a movement carries, by column (0 gross of unvalued lots, 1 Au … 5 Cu) and origin.
CREATE FUNCTION custody_columns(m custody_movement) RETURNS bigint[]
LANGUAGE sql IMMUTABLE AS $$ SELECT ARRAY[m.gross_mg, m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg] $$;

CREATE FUNCTION custody_columns(l custody_lot) RETURNS bigint[]
LANGUAGE sql IMMUTABLE AS $$ SELECT ARRAY[l.gross_mg, l.au_mg, l.ag_mg, l.pt_mg, l.pd_mg, l.cu_mg] $$;

-- The vector of which a line is a slice: what it holds of each origin, and what the line's two-bit codes take of that.
-- The codes are cut to the chunk first, so that a long one is not unpacked again for every origin.
CREATE FUNCTION custody_slice(m custody_movement)
RETURNS TABLE (column_no smallint, origin bigint, held bigint, taken bigint)
LANGUAGE sql STABLE AS $$
    SELECT v.column_no, u.origin, u.p, CASE WHEN m.spread = 3 THEN u.p WHEN c.code IS NULL THEN 0
           ELSE custody_floor_share(u.p, c.amount, v.total_mg) - 1 + 2 * get_bit(c.code, 2 * u.i::int - 2)
                + get_bit(c.code, 2 * u.i::int - 1) END
      FROM custody_vector v,
           LATERAL (SELECT (custody_columns(m))[v.column_no + 1] AS amount,
                           substring(m.codes[v.column_no + 1] FROM v.chunk * 256 + 1 FOR 256) AS code OFFSET 0) c,
           LATERAL unnest(v.origins, v.mgs) WITH ORDINALITY AS u(origin, p, i)
     WHERE m.spread > 0 AND v.operation_id = m.operation_id AND v.line = CASE m.spread WHEN 1 THEN 0 ELSE m.line END
$$;

CREATE FUNCTION custody_sole(of_origin bigint, is_valued boolean, amounts bigint[])
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE sql IMMUTABLE AS $$
    SELECT (i - 1)::smallint, of_origin, a FROM unnest(amounts) WITH ORDINALITY u(a, i)
     WHERE of_origin IS NOT NULL AND a <> 0 AND (i > 1) = is_valued
$$;

-- What a lot held after the movement that last set its content. amounts: its book then (needed where it is one
-- origin's alone; a vector knows its own sums).
CREATE FUNCTION custody_content(movement_id bigint, amounts bigint[], is_valued boolean)
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT s.column_no, s.origin, s.mg
      FROM custody_movement m, custody_sole(m.origin_id, is_valued, amounts) s WHERE m.id = movement_id
    UNION ALL
    SELECT s.column_no, s.origin, k.mg
      FROM custody_movement m, custody_slice(m) s,
           LATERAL (SELECT CASE m.spread WHEN 2 THEN s.held - s.taken ELSE s.taken END AS mg) k
     WHERE m.id = movement_id AND m.origin_id IS NULL AND k.mg <> 0
$$;

-- What an in line took from its lot.
CREATE FUNCTION custody_taken(m custody_movement)
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
BEGIN
    IF m.origin_id IS NOT NULL THEN
        RETURN QUERY SELECT * FROM custody_sole(m.origin_id, m.valued, custody_columns(m));
    ELSIF m.spread = 2 THEN
        RETURN QUERY SELECT s.column_no, s.origin, s.taken FROM custody_slice(m) s WHERE s.taken <> 0;
    ELSIF m.content_before IS NOT NULL THEN
        RETURN QUERY SELECT * FROM custody_content(m.content_before, custody_columns(m), m.valued);
    END IF;
END $$;

CREATE FUNCTION custody_taken(movement_id bigint)
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT t.* FROM custody_movement m, custody_taken(m) t WHERE m.id = movement_id
$$;

-- Origins (ascending) and milligrams of one column. Six of them, gross and five metals, are what a mixture is.
CREATE TYPE custody_pool AS (origins bigint[], mgs bigint[]);

CREATE FUNCTION custody_store_vectors(op bigint, at_line int, pools custody_pool[], passing boolean) RETURNS void
LANGUAGE sql SET search_path = public, pg_temp AS $$
    INSERT INTO custody_vector (operation_id, line, column_no, chunk, total_mg, origins, mgs, passing)
    SELECT op, at_line, p.i - 1, c, (SELECT sum(mg) FROM unnest(p.mgs) mg),
           p.origins[c * 128 + 1:c * 128 + 128], p.mgs[c * 128 + 1:c * 128 + 128], passing
      FROM unnest(pools) WITH ORDINALITY p(origins, mgs, i), generate_series(0, (cardinality(p.origins) - 1) / 128) c
$$;

-- The way forward: origin → the chunks that hold it. What waits to be sorted in is read one by one: let it be little.
CREATE INDEX custody_vector_origins ON custody_vector USING gin (origins) WITH (gin_pending_list_limit = 256)
    WHERE NOT passing;

-- The guard: what an operation's pool holds of a metal is what its lot outputs and positive losses take of it.
CREATE FUNCTION custody_origin_conserved() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    wrong record;
BEGIN
    IF NOT EXISTS (SELECT FROM custody_vector WHERE operation_id = NEW.id AND line = 0) THEN
        RETURN NULL;
    END IF;
    SELECT v.column_no, v.total_mg, v.held, o.taken INTO wrong
      FROM (SELECT column_no, min(total_mg) AS total_mg, sum((SELECT sum(mg) FROM unnest(mgs) mg)) AS held
              FROM custody_vector WHERE operation_id = NEW.id AND line = 0 GROUP BY column_no) v
      JOIN LATERAL (SELECT sum((custody_columns(m))[v.column_no + 1]) AS taken FROM custody_movement m
                     WHERE m.operation_id = NEW.id AND m.spread IN (1, 3) AND m.side IN ('out', 'loss')
                       AND (custody_columns(m))[v.column_no + 1] > 0) o ON true
     WHERE v.total_mg <> v.held OR v.held IS DISTINCT FROM o.taken
     LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('origin_conserved', 'The milligrams of the origins sum to the book.',
            jsonb_build_object('operation', NEW.number, 'column', wrong.column_no, 'pool', wrong.held,
                               'taken', wrong.taken));
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER operation_origin_conserved AFTER INSERT ON custody_operation
    NOT DEFERRABLE FOR EACH ROW EXECUTE FUNCTION custody_origin_conserved();

-- A vector, like a movement, is sealed by its operation.
CREATE TRIGGER vector_sealed AFTER INSERT ON custody_vector REFERENCING NEW TABLE AS added
    FOR EACH STATEMENT EXECUTE FUNCTION custody_sealed();
