-- Each operation stores its canonical bytes (JSON by RFC 8785: keys sorted, no spaces, UTF-8) and their SHA-256.
CREATE FUNCTION custody_json(value text) RETURNS text
LANGUAGE sql STABLE AS $$ SELECT coalesce(to_json(value)::text, 'null') $$;

CREATE FUNCTION custody_moment(moment timestamptz) RETURNS text
LANGUAGE sql STABLE AS $$ SELECT to_char(moment AT TIME ZONE 'UTC', '\"YYYY-MM-DD"T"HH24:MI:SS.US"Z"\"') $$;

-- A line says who held the metal where; an output also what it is: its form, its declared origin, the stamp of a bar.
CREATE FUNCTION custody_canonical(op custody_operation) RETURNS text
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT '{"about":' || custody_json(op.about::text) || ',"acceptance":' || coalesce(op.acceptance_id::text, 'null')
        || ',"at":' || custody_moment(op.at) || ',"basis":' || custody_json(op.basis)
        || ',"by":' || op.by_id || ',"countersign_meaning":' || custody_json(op.countersign_meaning)
        || ',"countersigned_at":' || coalesce(custody_moment(op.countersigned_at), 'null')
        || ',"countersigned_by":' || coalesce(op.countersigned_by_id::text, 'null')
        || ',"delivered_by":' || custody_json(op.delivered_by)
        || ',"kind":' || custody_json(op.kind) || ',"movements":['
        || (SELECT string_agg('{"amounts":[' || m.gross_mg || ',' || m.au_mg || ',' || m.ag_mg || ',' || m.pt_mg
               || ',' || m.pd_mg || ',' || m.cu_mg || '],"custodian":' || coalesce(m.custodian_id::text, 'null')
               || ',"line":' || m.line || ',"lot":' || custody_json(l.number)
               || CASE WHEN m.side = 'out' THEN ',"made":[' || custody_json(l.form) || ',' || custody_json(l.declared_origin)
                      || ',' || custody_json(l.custody_model) || ',' || CASE WHEN l.form = 'bar' THEN coalesce((SELECT custody_json(b.mark || ' ' || b.serial || ' '
                                || b.year) FROM custody_bar b WHERE b.lot_id = l.id), 'null') ELSE 'null' END || ']'
                  ELSE '' END
               || ',"place":' || coalesce(m.place_id::text, 'null')
               || ',"side":' || custody_json(m.side) || ',"what":' || custody_json(m.what)
               || ',"words":' || custody_json(m.words) || '}', ',' ORDER BY m.line)
              FROM custody_movement m LEFT JOIN custody_lot l ON l.id = m.lot_id WHERE m.operation_id = op.id)
        || '],"number":' || custody_json(op.number) || ',"over_tolerance":' || op.over_tolerance
        || ',"party":' || coalesce(op.party_id::text, 'null')
        || ',"place":' || coalesce(op.place_id::text, 'null') || ',"reason":' || custody_json(op.reason)
        || ',"recorded_at":' || custody_moment(op.recorded_at) || ',"reverses":' || coalesce(op.reverses_id::text, 'null')
        || ',"run":' || coalesce(op.run_id::text, 'null') || ',"source":' || custody_json(op.source) || '}'
$$;
