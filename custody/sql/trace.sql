-- The two questions of a trace, answered by index reads. As functions a session plans them once, and the settings keep
-- the planner, which cannot know how few origins a lot has, from reading whole tables.

-- Where what is in a lot came from, by column, largest first. A lot that was emptied traces as it last left: its content
-- is what the last movement took. One that was cancelled traces as it was: the reversal's line has its amounts with the
-- sign turned.
CREATE FUNCTION custody_origins_of(of_lot bigint)
RETURNS TABLE (metal text, origin text, party text, party_name text, receipt text, received_on date, country text,
               category text, mg bigint, difference boolean)
LANGUAGE sql STABLE SET search_path = public, pg_temp SET plan_cache_mode = force_generic_plan
SET enable_seqscan = off SET enable_hashjoin = off SET enable_mergejoin = off SET jit = off AS $$
    SELECT (ARRAY['gross', 'Au', 'Ag', 'Pt', 'Pd', 'Cu'])[c.column_no + 1], coalesce(p.number, 'difference'),
           coalesce(party.code, ''), coalesce(party.name, ''), coalesce(receipt.number, ''), receipt.day,
           coalesce(parcel.country, ''), coalesce(parcel.category, ''), c.mg, o.kind = 'difference'
      FROM custody_lot l JOIN custody_movement last ON last.id = l.last_movement,
           LATERAL custody_content(l.content_movement, CASE WHEN l.gross_mg > 0 THEN custody_columns(l)
               ELSE ARRAY(SELECT abs(mg) FROM unnest(custody_columns(last)) WITH ORDINALITY u(mg, i) ORDER BY i) END,
               l.valued) c
      JOIN custody_origin o ON o.id = c.origin
      LEFT JOIN custody_lot p ON p.id = o.lot_id
      LEFT JOIN custody_parcel parcel ON parcel.lot_id = o.lot_id
      LEFT JOIN custody_operation receipt ON receipt.id = o.operation_id
      LEFT JOIN custody_party party ON party.id = receipt.party_id AND o.kind = 'parcel'
     WHERE l.id = of_lot
     ORDER BY c.column_no, c.mg DESC, o.id
$$;

-- Where what came of an origin is now: in bars and stock, dispatched, lost by a cause. Lines that are wholly its own,
-- and slices of the chunks that hold it.
CREATE FUNCTION custody_fates_of(of_origin bigint)
RETURNS TABLE (metal text, fate text, mg bigint, lot text, serial text, cause text, operation text)
LANGUAGE sql STABLE SET search_path = public, pg_temp SET plan_cache_mode = force_generic_plan
SET enable_seqscan = off SET enable_hashjoin = off SET enable_mergejoin = off SET jit = off AS $$
WITH vectors AS (
    SELECT v.* FROM custody_vector v WHERE v.origins @> ARRAY[of_origin::int] AND NOT v.passing
    UNION ALL
    SELECT v.* FROM custody_lot l JOIN custody_movement m ON m.id = l.content_movement
      JOIN custody_vector v ON v.operation_id = m.operation_id AND v.line = CASE m.spread WHEN 1 THEN 0 ELSE m.line END
     WHERE l.form = 'in process' AND l.gross_mg > 0 AND v.passing
       AND of_origin BETWEEN v.origins[1] AND v.origins[cardinality(v.origins)] AND v.origins @> ARRAY[of_origin::int]
), chunks AS MATERIALIZED (
    SELECT v.operation_id, v.line, v.column_no, v.total_mg, v.chunk * 256 + 2 * (at.i - 1) AS bit, v.mgs[at.i] AS p
      FROM vectors v, LATERAL (SELECT array_position(v.origins, of_origin::int) AS i) at
), slices AS (
    SELECT m.id, m.operation_id, m.side, m.lot_id, m.what, c.column_no, t.taken,
           CASE m.spread WHEN 2 THEN c.p - t.taken WHEN 3 THEN c.p ELSE t.taken END AS held
      FROM chunks c JOIN custody_movement m ON m.operation_id = c.operation_id
       AND (c.line = 0 AND m.spread = 1 OR c.line > 0 AND m.line = c.line),
           LATERAL (SELECT (custody_columns(m))[c.column_no + 1] AS mg, m.codes[c.column_no + 1] AS code OFFSET 0) a,
           LATERAL (SELECT CASE WHEN m.spread = 3 THEN c.p * sign(a.mg)::bigint WHEN a.code IS NULL THEN 0
                ELSE custody_floor_share(c.p, a.mg, c.total_mg) - 1 + 2 * get_bit(a.code, c.bit)
                     + get_bit(a.code, c.bit + 1) END AS taken OFFSET 0) t
), lines AS MATERIALIZED (
    SELECT * FROM slices WHERE taken <> 0 OR held <> 0
    UNION ALL
    SELECT m.id, m.operation_id, m.side, m.lot_id, m.what, (u.i - 1)::smallint, CASE WHEN m.whole THEN 0 ELSE u.mg END,
           NULL
      FROM custody_movement m, LATERAL unnest(custody_columns(m)) WITH ORDINALITY u(mg, i)
     WHERE m.origin_id = of_origin AND (u.i = 1 OR u.mg <> 0 OR m.side = 'in')
       -- An in line that took none of a metal still says what its lot keeps of it.
), fates AS (
    -- What a lot holds now is what the line that last set its content gave it.
    SELECT x.column_no, CASE l.form WHEN 'bar' THEN 'bar' ELSE 'stock' END AS fate, h.mg, l.id, l.number,
           '' AS cause, '' AS operation
      FROM lines x JOIN custody_lot l ON l.id = x.lot_id AND l.content_movement = x.id AND l.gross_mg > 0,
           LATERAL (SELECT coalesce(x.held, (custody_columns(l))[x.column_no + 1]) AS mg) h
     WHERE (x.column_no = 0) = NOT l.valued AND h.mg <> 0
    UNION ALL
    -- What left whole is what it held.
    SELECT x.column_no, 'dispatched', h.mg, l.id, l.number, '', o.number
      FROM lines x JOIN custody_movement w ON w.lot_id = x.lot_id AND w.content_before = x.id AND w.whole
      JOIN custody_operation o ON o.id = w.operation_id AND o.kind = 'dispatch'
      JOIN custody_lot l ON l.id = x.lot_id,
           LATERAL (SELECT coalesce(x.held, (custody_columns(w))[x.column_no + 1]) AS mg) h
     WHERE (x.column_no = 0) = NOT w.valued AND h.mg <> 0
       AND NOT EXISTS (SELECT FROM custody_operation r WHERE r.reverses_id = o.id)
    UNION ALL
    SELECT x.column_no, CASE x.side WHEN 'in' THEN 'dispatched' ELSE 'loss' END, sum(x.taken)::bigint, l.id, l.number,
           CASE x.side WHEN 'in' THEN '' ELSE x.what END, CASE x.side WHEN 'in' THEN o.number ELSE '' END
      FROM lines x JOIN custody_operation o ON o.id = x.operation_id LEFT JOIN custody_lot l ON l.id = x.lot_id
     WHERE x.column_no > 0 AND x.taken <> 0 AND (x.side = 'loss' AND o.kind <> 'reverse' OR x.side = 'in' AND o.kind = 'dispatch')
       AND NOT EXISTS (SELECT FROM custody_operation r WHERE r.reverses_id = o.id)
     GROUP BY 1, 2, 4, 5, 6, 7
    HAVING sum(x.taken) <> 0
)
SELECT (ARRAY['gross', 'Au', 'Ag', 'Pt', 'Pd', 'Cu'])[f.column_no + 1], f.fate, f.mg, coalesce(f.number, ''),
       coalesce(b.serial, ''), f.cause, f.operation
  FROM fates f LEFT JOIN custody_bar b ON b.lot_id = f.id AND b.cancelled_by_id IS NULL
 ORDER BY f.column_no, f.fate, f.mg DESC, f.number COLLATE "C"
$$;
