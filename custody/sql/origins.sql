-- I5, conserved origin: what a movement carries, by column (0 gross of unvalued lots, 1 Au … 5 Cu) and origin.
CREATE FUNCTION custody_columns(m custody_movement) RETURNS bigint[]
LANGUAGE sql IMMUTABLE AS $$ SELECT ARRAY[m.gross_mg, m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg] $$;

CREATE FUNCTION custody_columns(l custody_lot) RETURNS bigint[]
LANGUAGE sql IMMUTABLE AS $$ SELECT ARRAY[l.gross_mg, l.au_mg, l.ag_mg, l.pt_mg, l.pd_mg, l.cu_mg] $$;

-- A slice of a stored vector: the milligrams that its two-bit codes say, or with rest_of the milligrams left over.
CREATE FUNCTION custody_slice(op bigint, at_line smallint, codes varbit[], amounts bigint[], rest_of boolean)
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT v.column_no, u.origin, CASE WHEN rest_of THEN u.p - s.mg ELSE s.mg END
      FROM custody_vector v,
           LATERAL unnest(v.origins, v.mgs) WITH ORDINALITY AS u(origin, p, i),
           LATERAL (SELECT CASE WHEN codes[v.column_no + 1] IS NULL THEN 0 ELSE
                custody_floor_share(u.p, amounts[v.column_no + 1], v.total_mg) - 1
                + 2 * get_bit(codes[v.column_no + 1], (v.chunk * 256 + 2 * (u.i - 1))::int)
                + get_bit(codes[v.column_no + 1], (v.chunk * 256 + 2 * (u.i - 1) + 1)::int) END AS mg) s
     WHERE v.operation_id = op AND v.line = at_line
       AND CASE WHEN rest_of THEN u.p - s.mg ELSE s.mg END <> 0
$$;

CREATE FUNCTION custody_whole_vector(op bigint, at_line smallint)
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT v.column_no, u.origin, u.p FROM custody_vector v, LATERAL unnest(v.origins, v.mgs) AS u(origin, p)
     WHERE v.operation_id = op AND v.line = at_line
$$;

CREATE FUNCTION custody_sole(of_origin bigint, is_valued boolean, amounts bigint[])
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT (i - 1)::smallint, of_origin, a FROM unnest(amounts) WITH ORDINALITY u(a, i)
     WHERE a <> 0 AND (i > 1) = is_valued
$$;

-- What a lot held after the movement that last set its content. amounts: its book then (needed where it is one
-- origin's alone; a vector knows its own sums).
CREATE FUNCTION custody_content(movement_id bigint, amounts bigint[], is_valued boolean)
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
DECLARE
    m custody_movement;
BEGIN
    SELECT * INTO STRICT m FROM custody_movement WHERE id = movement_id;
    IF m.origin_id IS NOT NULL THEN
        RETURN QUERY SELECT * FROM custody_sole(m.origin_id, is_valued, amounts);
    ELSIF m.spread = 1 THEN
        RETURN QUERY SELECT * FROM custody_slice(m.operation_id, 0::smallint, m.codes, custody_columns(m), false);
    ELSIF m.spread = 2 THEN
        RETURN QUERY SELECT * FROM custody_slice(m.operation_id, m.line, m.codes, custody_columns(m), true);
    ELSIF m.spread = 3 THEN
        RETURN QUERY SELECT * FROM custody_whole_vector(m.operation_id, m.line);
    END IF;
END $$;

-- What an in line took from its lot.
CREATE FUNCTION custody_taken(m custody_movement)
RETURNS TABLE (column_no smallint, origin bigint, mg bigint)
LANGUAGE plpgsql STABLE SET search_path = public, pg_temp AS $$
BEGIN
    IF m.origin_id IS NOT NULL THEN
        RETURN QUERY SELECT * FROM custody_sole(m.origin_id, m.valued, custody_columns(m));
    ELSIF m.spread = 2 THEN
        RETURN QUERY SELECT * FROM custody_slice(m.operation_id, m.line, m.codes, custody_columns(m), false);
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

CREATE FUNCTION custody_store_vectors(op bigint, at_line int, pools custody_pool[]) RETURNS void
LANGUAGE sql SET search_path = public, pg_temp AS $$
    INSERT INTO custody_vector (operation_id, line, column_no, chunk, total_mg, origins, mgs)
    SELECT op, at_line, p.i - 1, c, (SELECT sum(mg) FROM unnest(p.mgs) mg),
           p.origins[c * 128 + 1:c * 128 + 128], p.mgs[c * 128 + 1:c * 128 + 128]
      FROM unnest(pools) WITH ORDINALITY p(origins, mgs, i), generate_series(0, (cardinality(p.origins) - 1) / 128) c
$$;

-- The way forward: origin → the chunks that hold it.
CREATE INDEX custody_vector_origins ON custody_vector USING gin (origins);

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
