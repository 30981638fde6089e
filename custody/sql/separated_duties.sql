-- I12, separated duties: who exceeds a tolerance does not countersign it; who records a determination does not
-- accept it; who prepares a settlement does not approve it.
ALTER TABLE custody_operation
    ADD CONSTRAINT countersigned_by_another CHECK (countersigned_by_id <> by_id),
    ADD CONSTRAINT countersigned_in_words CHECK (
        (countersigned_by_id IS NULL) = (countersigned_at IS NULL)
        AND (countersigned_by_id IS NULL) = (countersign_meaning = '')),
    ADD CONSTRAINT over_tolerance_countersigned CHECK (
        NOT over_tolerance OR source = 'history' OR countersigned_by_id IS NOT NULL);
ALTER TABLE custody_settlement
    ADD CONSTRAINT approved_by_another CHECK (approved_by_id <> prepared_by_id);

-- Determinations are numbered by the application, which may draw from this sequence.
CREATE SEQUENCE custody_number_determination;

CREATE FUNCTION custody_accepted_by_another() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF NEW.by_id = (SELECT by_id FROM custody_determination WHERE id = NEW.determination_id) THEN
        PERFORM custody_refuse('accepted_by_another', 'Who records a determination does not accept it.',
                               jsonb_build_object('determination', NEW.determination_id));
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER acceptance_by_another BEFORE INSERT ON custody_acceptance
    FOR EACH ROW EXECUTE FUNCTION custody_accepted_by_another();
