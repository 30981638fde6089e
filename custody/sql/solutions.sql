-- Solutions: a tank's assay gives it its gross and metals, and water leaves only assayed and within its permit.
CREATE SEQUENCE custody_number_solution;

-- The assay that a valuation of a solution names: of this lot, by another person, of what the lot is now, used once.
CREATE FUNCTION custody_solution_of(op custody_operation, l custody_lot, assay text) RETURNS custody_solutionassay
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    s custody_solutionassay;
BEGIN
    SELECT * INTO s FROM custody_solutionassay WHERE number = assay;
    IF s.id IS NULL OR s.lot_id <> l.id OR l.form NOT IN ('solution', 'in process') OR op.source <> 'live' THEN
        PERFORM custody_refuse('solution', format('%s is no assay of solution %s.', assay, l.number),
                               jsonb_build_object('lot', l.number));
    ELSIF s.by_id = op.by_id THEN
        PERFORM custody_refuse('accepted_by_another', 'Who records an assay does not accept it.',
                               jsonb_build_object('determination', assay));
    ELSIF EXISTS (SELECT FROM custody_solutionacceptance WHERE assay_id = s.id) THEN
        PERFORM custody_refuse('solution', format('Assay %s is accepted already.', assay),
                               jsonb_build_object('lot', l.number));
    ELSIF s.at < (SELECT o.at FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id
                   WHERE m.id = l.content_movement) THEN
        PERFORM custody_refuse('solution_stale', format('Lot %s was worked after the assay.', l.number),
                               jsonb_build_object('lot', l.number, 'assay', assay));
    END IF;
    RETURN s;
END $$;

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
        SELECT t.* INTO s FROM custody_solutionassay t JOIN custody_solutionacceptance a ON a.assay_id = t.id
          JOIN custody_movement m ON m.operation_id = a.operation_id AND m.side = 'out' AND m.lot_id = l.id
         WHERE t.lot_id = l.id AND m.id = l.content_movement;
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

-- Readings of one run's current never overlap: the same hour would be counted twice.
CREATE FUNCTION custody_currents_apart() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM pg_advisory_xact_lock(hashtextextended(format('current %s', NEW.run_id), 0));
    IF EXISTS (SELECT FROM custody_cellreading r WHERE r.run_id = NEW.run_id AND r.from_at < NEW.to_at
                                                   AND NEW.from_at < r.to_at) THEN
        PERFORM custody_refuse('current_overlaps', 'This time overlaps an earlier reading of the current.', '{}');
    ELSIF NEW.from_at < (SELECT o.at FROM custody_run r JOIN custody_operation o ON o.id = r.opened_by_id
                          WHERE r.id = NEW.run_id)
            OR NEW.to_at > (SELECT o.at FROM custody_run r JOIN custody_operation o ON o.id = r.finished_by_id
                             WHERE r.id = NEW.run_id) THEN
        PERFORM custody_refuse('current_outside_run', 'The run was not under way at that time.', '{}');
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER cellreading_apart BEFORE INSERT ON custody_cellreading
    FOR EACH ROW EXECUTE FUNCTION custody_currents_apart();
