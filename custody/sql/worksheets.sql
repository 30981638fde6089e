-- The laboratory's worksheets: nothing is weighed on a balance that was not checked that day or failed, and the
-- readings under a reported result stay as they were when it was reported.
CREATE FUNCTION custody_reading_of_a_worksheet() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    p custody_worksheetpiece;
    w custody_worksheet;
    s custody_scale;
    c custody_scalecheck;
    d jsonb;
BEGIN
    SELECT * INTO p FROM custody_worksheetpiece WHERE id = NEW.piece_id;
    SELECT * INTO w FROM custody_worksheet WHERE id = p.worksheet_id;
    IF EXISTS (SELECT FROM custody_determination r WHERE r.worksheet_id = w.id AND (p.lot_id IS NULL OR r.lot_id = p.lot_id))
            OR EXISTS (SELECT FROM custody_repeatorder r WHERE r.worksheet_id = w.id
                          AND (p.lot_id IS NULL OR r.lot_id = p.lot_id)) THEN
        PERFORM custody_refuse('worksheet_reported', 'What was reported rests on this reading.',
            jsonb_build_object('worksheet', w.number, 'position', p.position));
    ELSIF NEW.of NOT IN ('portion', 'silver added', 'bead', 'cornet', 'silver chloride') THEN
        RETURN NEW;
    END IF;
    SELECT * INTO s FROM custody_scale WHERE id = w.balance_id;
    c := custody_checked(s.id, NEW.at);
    d := jsonb_build_object('scale', s.code, 'worksheet', w.number);
    IF s.id IS NULL THEN
        PERFORM custody_refuse('worksheet_balance', format('Worksheet %s names no balance.', w.number), d);
    ELSIF NOT s.active THEN
        PERFORM custody_refuse('unknown_scale', format('Scale %s is out of use.', s.code), d);
    ELSIF c.id IS NULL THEN
        PERFORM custody_refuse('scale_unchecked', format('Scale %s was not checked that day.', s.code), d);
    ELSIF NOT c.passed THEN
        PERFORM custody_refuse('scale_failed', format('Scale %s failed its check.', s.code), d);
    ELSIF NEW.value > s.max_mg * 1000 THEN
        PERFORM custody_refuse('worksheet_load', format('Balance %s weighs up to %s mg.', s.code, s.max_mg), d);
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER worksheetreading_on_a_checked_balance BEFORE INSERT ON custody_worksheetreading
    FOR EACH ROW EXECUTE FUNCTION custody_reading_of_a_worksheet();

-- What a proof metal is by its certificate never changes: past results are judged by it.
CREATE FUNCTION custody_proof_metal_stays() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_refuse('proof_metal', format('The certificate of proof metal %s stays: take it out of use and enter'
        ' another.', OLD.code), jsonb_build_object('proof_metal', OLD.code));
    RETURN NULL;
END $$;
CREATE TRIGGER proofmetal_stays BEFORE UPDATE ON custody_proofmetal FOR EACH ROW
    WHEN ((OLD.code, OLD.metal, OLD.purity_ppm, OLD.uncertainty_ppm, OLD.certificate)
          IS DISTINCT FROM (NEW.code, NEW.metal, NEW.purity_ppm, NEW.uncertainty_ppm, NEW.certificate))
    EXECUTE FUNCTION custody_proof_metal_stays();
