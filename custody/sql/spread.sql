-- I5, the origin rule: how the milligrams of a pool fall on its outputs and losses. calc/provenance.py has the same
-- rule in Python, and tests compare the two.
--
-- Pool origins have P milligrams, T together; output k takes a. Its exact share of an origin is e = P·a/T. Each output
-- takes the floor of e, then the milligrams left over go, one each, to the origins furthest behind their exact
-- cumulative share (ties to the origin received first). The last output takes what is left. Rows and columns both sum
-- exactly, nothing is negative; no figure is a milligram from its exact share but for contrived pools of four or more
-- origins (1.2 mg is the worst found; the measured bounds are in calc/provenance.py).
CREATE FUNCTION custody_floor_share(p bigint, a bigint, t bigint) RETURNS bigint
LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    -- Below three tonnes the product fits 64 bits.
    SELECT CASE WHEN t <= 3000000000 THEN p * a / t ELSE div(p::numeric * a, t)::bigint END
$$;

CREATE FUNCTION custody_rest_share(p bigint, a bigint, t bigint) RETURNS bigint
LANGUAGE sql IMMUTABLE PARALLEL SAFE AS $$
    SELECT CASE WHEN t <= 3000000000 THEN p * a % t ELSE mod(p::numeric * a, t)::bigint END
$$;

-- One output. given is what the origins gave so far (before this output, which takes a, up to the cumulative c).
CREATE FUNCTION custody_spread_one(pool bigint[], given bigint[], a bigint, c bigint, t bigint) RETURNS bigint[]
LANGUAGE plpgsql IMMUTABLE SET search_path = public, pg_temp AS $$
DECLARE
    n int := cardinality(pool);
    taken bigint[] := given;       -- same length; overwritten below
    behind bigint[] := given;
    over bigint := a;
    share bigint;
    i int;
BEGIN
    IF c = t THEN
        FOR i IN 1..n LOOP taken[i] := pool[i] - given[i]; END LOOP;
        RETURN taken;
    END IF;
    FOR i IN 1..n LOOP
        share := least(custody_floor_share(pool[i], a, t), pool[i] - given[i]);
        taken[i] := share;
        over := over - share;
        behind[i] := (custody_floor_share(pool[i], c, t) - given[i] - share) * t + custody_rest_share(pool[i], c, t);
    END LOOP;
    WHILE over > 0 LOOP
        FOR i IN SELECT o.i FROM unnest(behind) WITH ORDINALITY o(d, i) ORDER BY o.d DESC, o.i LOOP
            EXIT WHEN over = 0;
            IF given[i] + taken[i] < pool[i] THEN
                taken[i] := taken[i] + 1;
                over := over - 1;
            END IF;
        END LOOP;
    END LOOP;
    RETURN taken;
END $$;

-- All outputs of one pool. codes[k]: two bits an origin, the milligrams taken less floor(e), plus one (NULL where the
-- output takes none). whole[k] is given instead where two bits do not reach.
CREATE TYPE custody_share AS (codes varbit, whole bigint[]);
CREATE FUNCTION custody_spread(pool bigint[], amounts bigint[]) RETURNS custody_share[]
LANGUAGE plpgsql IMMUTABLE SET search_path = public, pg_temp AS $$
DECLARE
    n int := cardinality(pool);
    t bigint := (SELECT sum(p) FROM unnest(pool) p);
    c bigint := 0;
    given bigint[] := array_fill(0::bigint, ARRAY[n]);
    taken bigint[];
    bits text[];
    code bigint;
    fits boolean;
    result custody_share[] := '{}';
BEGIN
    IF t IS DISTINCT FROM (SELECT sum(a) FROM unnest(amounts) a) THEN
        PERFORM custody_refuse('origin_conserved', 'The outputs take exactly what the origins gave.',
                               jsonb_build_object('pool', t, 'outputs', amounts));
    END IF;
    FOR k IN 1..cardinality(amounts) LOOP
        IF amounts[k] = 0 THEN
            result[k] := ROW(NULL, NULL)::custody_share;
            CONTINUE;
        END IF;
        c := c + amounts[k];
        IF n = 1 THEN
            result[k] := ROW(B'01', NULL)::custody_share;
            CONTINUE;
        END IF;
        taken := custody_spread_one(pool, given, amounts[k], c, t);
        bits := array_fill(''::text, ARRAY[n]);
        fits := true;
        FOR i IN 1..n LOOP
            given[i] := given[i] + taken[i];
            code := taken[i] - custody_floor_share(pool[i], amounts[k], t) + 1;
            fits := fits AND code BETWEEN 0 AND 3;
            bits[i] := CASE code WHEN 1 THEN '01' WHEN 2 THEN '10' WHEN 0 THEN '00' ELSE '11' END;
        END LOOP;
        IF fits THEN
            result[k] := ROW(array_to_string(bits, '')::varbit, NULL)::custody_share;
        ELSE
            result[k] := ROW(NULL, taken)::custody_share;
        END IF;
    END LOOP;
    RETURN result;
END $$;

-- Shares total over weights by largest remainder, ties to the earlier weight.
CREATE FUNCTION custody_apportion(total bigint, weights bigint[]) RETURNS bigint[]
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    WITH whole AS (SELECT sum(w)::bigint AS t FROM unnest(weights) w),
         -- The total may be more than the weights sum to: the larger says whether the product fits 64 bits.
         floors AS (SELECT i, CASE WHEN greatest(t, total) <= 3000000000 THEN w * total / t
                                   ELSE div(w::numeric * total, t)::bigint END AS share,
                           CASE WHEN greatest(t, total) <= 3000000000 THEN w * total % t
                                ELSE mod(w::numeric * total, t)::bigint END AS rest
                      FROM whole, unnest(weights) WITH ORDINALITY u(w, i)),
         ranked AS (SELECT i, share, row_number() OVER (ORDER BY rest DESC, i) AS place FROM floors)
    SELECT array_agg(share + (place <= total - (SELECT sum(share) FROM floors))::int ORDER BY i) FROM ranked
$$;

-- A partial withdrawal: gross apportioned over the metals and the rest together. book and the answer are
-- {gross, Au, Ag, Pt, Pd, Cu}; that order also decides ties, the rest last.
CREATE FUNCTION custody_withdraw(book bigint[], taken_gross bigint) RETURNS bigint[]
LANGUAGE sql IMMUTABLE SET search_path = public, pg_temp AS $$
    SELECT taken_gross || (custody_apportion(taken_gross, book[2:6] ||
        (book[1] - book[2] - book[3] - book[4] - book[5] - book[6])))[1:5]
$$;
