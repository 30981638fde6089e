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

-- One output, which takes a, up to the cumulative c. given is what each origin gave before it; the answer is what each
-- has given after it.
CREATE FUNCTION custody_spread_one(pool bigint[], given bigint[], a bigint, c bigint, t bigint) RETURNS bigint[]
LANGUAGE plpgsql IMMUTABLE SET search_path = public, pg_temp AS $$
DECLARE
    after bigint[] := given;
    over bigint := c;
    origin int;
BEGIN
    IF c = t THEN
        RETURN pool;
    END IF;
    FOR i IN 1..cardinality(pool) LOOP
        after[i] := least(given[i] + custody_floor_share(pool[i], a, t), pool[i]);
        over := over - after[i];
    END LOOP;
    WHILE over > 0 LOOP
        -- Furthest behind first: what is lacking of p·c/t, in parts of t so that equal deficits are equal.
        FOR origin IN SELECT i FROM unnest(pool, after) WITH ORDINALITY u(p, g, i) WHERE g < p
                       ORDER BY (custody_floor_share(p, c, t) - g) * t + custody_rest_share(p, c, t) DESC, i LIMIT over LOOP
            after[origin] := after[origin] + 1;
            over := over - 1;
        END LOOP;
    END LOOP;
    RETURN after;
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
    after bigint[];
    codes varbit;
    share custody_share;
    result custody_share[] := '{}';
BEGIN
    IF t IS DISTINCT FROM (SELECT sum(a) FROM unnest(amounts) a) THEN
        PERFORM custody_refuse('origin_conserved', 'The outputs take exactly what the origins gave.',
                               jsonb_build_object('pool', t, 'outputs', amounts));
    END IF;
    FOR k IN 1..cardinality(amounts) LOOP
        share := NULL;
        c := c + amounts[k];
        IF amounts[k] > 0 AND n = 1 THEN
            share.codes := B'01';
        ELSIF amounts[k] > 0 THEN
            after := custody_spread_one(pool, given, amounts[k], c, t);
            codes := (SELECT string_agg(CASE g - b - custody_floor_share(p, amounts[k], t)
                             WHEN -1 THEN '00' WHEN 0 THEN '01' WHEN 1 THEN '10' WHEN 2 THEN '11' END, '')
                        FROM unnest(pool, given, after) u(p, b, g))::varbit;
            IF length(codes) = 2 * n THEN
                share.codes := codes;
            ELSE
                share.whole := ARRAY(SELECT g - b FROM unnest(given, after) u(b, g));
            END IF;
            given := after;
        END IF;
        result[k] := share;
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
