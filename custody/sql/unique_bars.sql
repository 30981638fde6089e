-- I6, unique bars: mark, serial and year name one uncancelled bar (the unique index is in the model). A stamped
-- serial returns only in a cast recorded again after a reversal, and only by naming the cancelled bar it replaces.
CREATE FUNCTION custody_bar_replaces() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    cancelled bigint;
BEGIN
    IF EXISTS (SELECT FROM custody_bar WHERE (mark, serial, year) = (NEW.mark, NEW.serial, NEW.year)
                                         AND cancelled_by_id IS NULL) THEN
        -- Said before what the serial replaces is asked: no name of a cancelled bar would free it.
        PERFORM custody_refuse('unique_uncancelled_bar', format('A bar %s %s %s is there.', NEW.mark, NEW.serial, NEW.year),
            jsonb_build_object('serial', NEW.serial, 'year', NEW.year));
    END IF;
    SELECT id INTO cancelled FROM custody_bar
     WHERE (mark, serial, year) = (NEW.mark, NEW.serial, NEW.year) AND cancelled_by_id IS NOT NULL
     ORDER BY id DESC LIMIT 1;
    IF cancelled IS DISTINCT FROM NEW.replaces_id THEN
        PERFORM custody_refuse('bar_replaces',
            'This mark, serial and year was stamped before: name the cancelled bar that this one replaces.',
            jsonb_build_object('serial', NEW.serial, 'year', NEW.year, 'cancelled', cancelled));
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER bar_replaces BEFORE INSERT ON custody_bar FOR EACH ROW EXECUTE FUNCTION custody_bar_replaces();

-- A stamp is for ever; the only change a bar knows is to be cancelled, once.
CREATE FUNCTION custody_bar_for_ever() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_refuse('append_only', 'A stamped bar keeps its mark, serial and year for ever.',
                           jsonb_build_object('serial', OLD.serial));
    RETURN NULL;
END $$;
CREATE TRIGGER bar_for_ever BEFORE UPDATE ON custody_bar FOR EACH ROW
    WHEN ((OLD.lot_id, OLD.mark, OLD.serial, OLD.year, OLD.replaces_id, OLD.bar_type_id)
          IS DISTINCT FROM (NEW.lot_id, NEW.mark, NEW.serial, NEW.year, NEW.replaces_id, NEW.bar_type_id)
          OR OLD.cancelled_by_id IS NOT NULL)
    EXECUTE FUNCTION custody_bar_for_ever();
