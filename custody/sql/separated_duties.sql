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
CREATE SEQUENCE custody_number_worksheet;
CREATE SEQUENCE custody_number_exchange;
CREATE SEQUENCE custody_number_slip;
CREATE SEQUENCE custody_number_route;

CREATE FUNCTION custody_accepted_by_another() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    IF NEW.by_id = (SELECT by_id FROM custody_determination WHERE id = NEW.determination_id)
            OR custody_worked_on(NEW.determination_id, NEW.by_id)
            OR custody_handed_in(NEW.determination_id, NEW.by_id) THEN
        PERFORM custody_refuse('accepted_by_another', 'Who records a determination does not accept it.',
                               jsonb_build_object('determination', NEW.determination_id));
    ELSIF (SELECT method IN ('XRF indication', 'density indication', 'as declared') FROM custody_determination
            WHERE id = NEW.determination_id) THEN
        PERFORM custody_refuse('indication_only', 'An indication values nothing.',
                               jsonb_build_object('determination', NEW.determination_id));
    ELSIF EXISTS (SELECT FROM custody_repeatorder WHERE determination_id = NEW.determination_id) THEN
        PERFORM custody_refuse('assayed_again', 'This was not accepted: the lot is assayed again.',
                               jsonb_build_object('determination', NEW.determination_id));
    END IF;
    PERFORM custody_check_exchanged(NEW.determination_id);
    RETURN NEW;
END $$;

-- Whether a person worked on what a determination rests on: opened its worksheet, or on any worksheet that holds pieces
-- of its lot read one of them or a proof beside them. A result typed by a friend hides no analyst.
CREATE FUNCTION custody_worked_on(of_determination bigint, person bigint) RETURNS boolean
LANGUAGE sql STABLE SET search_path = public, pg_temp AS $$
    SELECT EXISTS (SELECT FROM custody_determination d JOIN custody_worksheet w ON w.id = d.worksheet_id
                    WHERE d.id = of_determination AND w.by_id = person)
        OR EXISTS (SELECT FROM custody_determination d JOIN custody_worksheetpiece o ON o.lot_id = d.lot_id
                     JOIN custody_worksheetpiece p ON p.worksheet_id = o.worksheet_id
                      AND (p.lot_id IS NULL OR p.lot_id = d.lot_id)
                     JOIN custody_worksheetreading r ON r.piece_id = p.id
                    WHERE d.id = of_determination AND r.by_id = person)
$$;
CREATE TRIGGER acceptance_by_another BEFORE INSERT ON custody_acceptance
    FOR EACH ROW EXECUTE FUNCTION custody_accepted_by_another();
