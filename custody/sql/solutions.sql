-- Solutions: a tank's assay gives it its gross and metals, and water leaves only assayed and within its permit.
CREATE SEQUENCE custody_number_solution;

-- Whether a solution is no longer what was assayed: it was worked after the assay, or a later measurement of it stands.
-- Neither a reversed operation nor its reversal worked it, nor does valuing what was drawn from it change the liquor.
CREATE FUNCTION custody_solution_is_stale(s custody_solutionassay) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT EXISTS (SELECT FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id
              LEFT JOIN custody_solutionacceptance a ON a.operation_id = o.id
              LEFT JOIN custody_solutionassay t ON t.id = a.assay_id
              LEFT JOIN custody_acceptance c ON c.id = o.acceptance_id
              LEFT JOIN custody_determination d ON d.id = c.determination_id
             WHERE m.lot_id = s.lot_id AND o.kind <> 'reverse'
               AND coalesce(t.lot_id, d.lot_id, s.lot_id) = s.lot_id
               AND coalesce(t.at, d.at, o.at) > s.at
               AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id))
$$;

-- The assay that a valuation of a solution names: of this lot, by another person, of what the lot is now, used once. An
-- acceptance that was reversed used it, too: what was wrong in it is assayed or written down anew.
CREATE FUNCTION custody_solution_of(op custody_operation, l custody_lot, assay text) RETURNS custody_solutionassay
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    s custody_solutionassay;
    unmeasured text;
BEGIN
    SELECT * INTO s FROM custody_solutionassay WHERE number = assay;
    IF s.id IS NULL OR s.lot_id <> l.id OR l.form NOT IN ('solution', 'in process') OR op.source <> 'live' THEN
        PERFORM custody_refuse('solution', format('%s is no assay of solution %s.', assay, l.number),
                               jsonb_build_object('lot', l.number));
    ELSIF s.by_id = op.by_id THEN
        PERFORM custody_refuse('accepted_by_another', 'Who records an assay does not accept it.',
                               jsonb_build_object('determination', assay));
    ELSIF EXISTS (SELECT FROM custody_solutionacceptance WHERE assay_id = s.id) THEN
        PERFORM custody_refuse('solution', format('Assay %s was accepted already. If that was reversed, record the assay anew.',
                               assay), jsonb_build_object('lot', l.number));
    ELSIF s.at > op.at THEN
        PERFORM custody_refuse('solution', format('Assay %s is later than its acceptance.', assay),
                               jsonb_build_object('lot', l.number));
    ELSIF NOT l.valued THEN
        PERFORM custody_refuse('solution', format('Solution %s is made of lots without an assay: value those first.', l.number),
                               jsonb_build_object('lot', l.number));
    ELSIF custody_solution_is_stale(s) THEN
        PERFORM custody_refuse('solution_stale', format('Lot %s was worked or measured after the assay.', l.number),
                               jsonb_build_object('lot', l.number, 'assay', assay));
    END IF;
    SELECT u.metal INTO unmeasured
      FROM unnest(ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu'], (custody_columns(l))[2:6]) WITH ORDINALITY u(metal, mg, n)
     WHERE u.mg > 0 AND NOT EXISTS (SELECT FROM custody_solutionfigure f WHERE f.assay_id = s.id AND f.substance = u.metal)
     ORDER BY u.n LIMIT 1;
    IF unmeasured IS NOT NULL THEN
        -- What nobody measured is not gone: without this, an assay of copper alone would write off the gold.
        PERFORM custody_refuse('solution', format('%s is in solution %s by the book and was not measured: measure it, or give'
            ' its limit of detection.', unmeasured, l.number), jsonb_build_object('lot', l.number));
    END IF;
    RETURN s;
END $$;

-- What was accepted is not added to: another figure would change what the assay says after it was believed.
CREATE FUNCTION custody_figures_are_told() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM pg_advisory_xact_lock_shared(hashtextextended(format('solution assay %s', NEW.assay_id), 0));
    IF EXISTS (SELECT FROM custody_solutionacceptance WHERE assay_id = NEW.assay_id) THEN
        PERFORM custody_refuse('solution', 'This assay was accepted: nothing is added to it. Record another one.', '{}');
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER solutionfigure_told BEFORE INSERT ON custody_solutionfigure
    FOR EACH ROW EXECUTE FUNCTION custody_figures_are_told();

-- Gross and metals by an assay: volume times density, volume times what a litre holds, half to even to the milligram, once.
CREATE FUNCTION custody_solution_holds(s custody_solutionassay) RETURNS bigint[]
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT ARRAY[s.volume_ml * s.density_mg_ml] || ARRAY(
        SELECT coalesce((SELECT custody_half_even(s.volume_ml::numeric * f.ug_l, 1000000) FROM custody_solutionfigure f
                          WHERE f.assay_id = s.id AND f.substance = m.metal), 0)
          FROM unnest(ARRAY['Au', 'Ag', 'Pt', 'Pd', 'Cu']) WITH ORDINALITY m(metal, n) ORDER BY m.n)
$$;

-- The limits of a day, the latest of each substance.
CREATE FUNCTION custody_effluent_limits(on_day date) RETURNS SETOF custody_effluentlimit
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT DISTINCT ON (substance) * FROM custody_effluentlimit WHERE valid_from <= on_day
     ORDER BY substance, valid_from DESC, id DESC
$$;

-- The accepted assay of a solution as it is now; what was taken of it since, pro rata, left the rest as it was.
CREATE FUNCTION custody_assayed_as_it_is(l custody_lot) RETURNS custody_solutionassay
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT s FROM custody_solutionassay s JOIN custody_solutionacceptance a ON a.assay_id = s.id
      JOIN custody_movement m ON m.operation_id = a.operation_id AND m.side = 'out' AND m.lot_id = l.id
     WHERE s.lot_id = l.id
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = a.operation_id)
       AND NOT EXISTS (SELECT FROM custody_movement n JOIN custody_operation o ON o.id = n.operation_id
                        WHERE n.lot_id = l.id AND n.id > m.id AND o.kind <> 'reverse'
                          AND NOT (n.side = 'in' AND NOT n.whole AND o.kind IN ('discharge', 'sample', 'divide'))
                          AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id))
     ORDER BY s.id DESC LIMIT 1
$$;

-- Water leaves only as it was assayed and accepted, with every limited substance measured and within its limit.
CREATE FUNCTION custody_check_discharge(op custody_operation, lots custody_lot[]) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    l custody_lot;
    s custody_solutionassay;
    lim custody_effluentlimit;
    found_now bigint;
BEGIN
    IF NOT EXISTS (SELECT FROM custody_effluent_limits(op.day)) THEN
        PERFORM custody_refuse('effluent_no_limits', 'No limits for discharge are set.', '{}');
    END IF;
    FOREACH l IN ARRAY lots LOOP
        s := custody_assayed_as_it_is(l);
        IF s.id IS NULL THEN
            PERFORM custody_refuse('effluent_unassayed', format('Lot %s is not assayed as it is.', l.number),
                                   jsonb_build_object('lot', l.number));
        END IF;
        FOR lim IN SELECT * FROM custody_effluent_limits(op.day) LOOP
            found_now := CASE WHEN lim.substance = 'pH' THEN s.ph_centi
                ELSE (SELECT ug_l FROM custody_solutionfigure WHERE assay_id = s.id AND substance = lim.substance) END;
            IF found_now IS NULL THEN
                PERFORM custody_refuse('effluent_unmeasured', format('%s of lot %s was not measured.', lim.substance, l.number),
                    jsonb_build_object('lot', l.number, 'substance', lim.substance, 'assay', s.number));
            ELSIF found_now > lim.most OR found_now < lim.least THEN
                PERFORM custody_refuse('effluent_over_limit', format('%s of lot %s is outside its limit.', lim.substance, l.number),
                    jsonb_build_object('lot', l.number, 'substance', lim.substance, 'found', found_now, 'least', lim.least,
                                       'most', lim.most));
            END IF;
        END LOOP;
    END LOOP;
END $$;
