-- Cells: readings of one run's current never overlap, for the same hour would be counted twice, and lie within the run.
-- A reading that replaces another takes its time over; the one replaced stays in the record and counts no more.
CREATE FUNCTION custody_currents_apart() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM pg_advisory_xact_lock(hashtextextended(format('current %s', NEW.run_id), 0));
    IF EXISTS (SELECT FROM custody_cellreading r WHERE r.run_id = NEW.run_id AND r.from_at < NEW.to_at
                  AND NEW.from_at < r.to_at AND r.id IS DISTINCT FROM NEW.replaces_id
                  AND NOT EXISTS (SELECT FROM custody_cellreading n WHERE n.replaces_id = r.id)) THEN
        PERFORM custody_refuse('current_overlaps', 'This time overlaps an earlier reading of the current.', '{}');
    ELSIF NEW.replaces_id IS NOT NULL
            AND NEW.run_id <> (SELECT run_id FROM custody_cellreading WHERE id = NEW.replaces_id) THEN
        PERFORM custody_refuse('current_outside_run', 'It replaces a reading of another run.', '{}');
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

-- No run is finished before the end of a reading of its current: it was under way then. Told at the end of the
-- transaction, for the operation is written after its run.
CREATE FUNCTION custody_current_ends() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM pg_advisory_xact_lock(hashtextextended(format('current %s', NEW.id), 0));
    IF EXISTS (SELECT FROM custody_run u JOIN custody_operation o ON o.id = u.finished_by_id
                 JOIN custody_cellreading r ON r.run_id = u.id AND r.to_at > o.at
                WHERE u.id = NEW.id
                  AND NOT EXISTS (SELECT FROM custody_cellreading n WHERE n.replaces_id = r.id)) THEN
        PERFORM custody_refuse('current_outside_run', 'A reading of its current goes on after this finish.', '{}');
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER run_current_ends AFTER UPDATE ON custody_run DEFERRABLE INITIALLY DEFERRED
    FOR EACH ROW WHEN (NEW.finished_by_id IS NOT NULL) EXECUTE FUNCTION custody_current_ends();
