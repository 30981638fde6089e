-- Each operation stores its canonical bytes (JSON by RFC 8785: keys sorted, no spaces, UTF-8) and their SHA-256.
CREATE FUNCTION custody_json(value text) RETURNS text
LANGUAGE sql STABLE AS $$ SELECT coalesce(to_json(value)::text, 'null') $$;

CREATE FUNCTION custody_moment(moment timestamptz) RETURNS text
LANGUAGE sql STABLE AS $$ SELECT to_char(moment AT TIME ZONE 'UTC', '\"YYYY-MM-DD"T"HH24:MI:SS.US"Z"\"') $$;

CREATE FUNCTION custody_canonical(op custody_operation) RETURNS text
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT '{"about":' || custody_json(op.about::text) || ',"at":' || custody_moment(op.at)
        || ',"by":' || op.by_id || ',"countersign_meaning":' || custody_json(op.countersign_meaning)
        || ',"countersigned_at":' || coalesce(custody_moment(op.countersigned_at), 'null')
        || ',"countersigned_by":' || coalesce(op.countersigned_by_id::text, 'null')
        || ',"kind":' || custody_json(op.kind) || ',"movements":['
        || (SELECT string_agg('{"amounts":[' || m.gross_mg || ',' || m.au_mg || ',' || m.ag_mg || ',' || m.pt_mg
               || ',' || m.pd_mg || ',' || m.cu_mg || '],"line":' || m.line || ',"lot":' || custody_json(l.number)
               || ',"side":' || custody_json(m.side) || ',"what":' || custody_json(m.what)
               || ',"words":' || custody_json(m.words) || '}', ',' ORDER BY m.line)
              FROM custody_movement m LEFT JOIN custody_lot l ON l.id = m.lot_id WHERE m.operation_id = op.id)
        || '],"number":' || custody_json(op.number) || ',"party":' || coalesce(op.party_id::text, 'null')
        || ',"reason":' || custody_json(op.reason) || ',"reverses":' || coalesce(op.reverses_id::text, 'null')
        || ',"source":' || custody_json(op.source) || '}'
$$;
