-- I1, balance: for every operation, gross and each metal, in + added = out + declared losses, to the milligram.
-- The operation row is written last. It seals its movements: they must be as many as it says and balance, and
-- afterwards none can be added, not even a balanced pair.
CREATE FUNCTION custody_sealed() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    sealed bigint;
BEGIN
    SELECT o.id INTO sealed FROM added a JOIN custody_operation o ON o.id = a.operation_id LIMIT 1;
    IF FOUND THEN
        PERFORM custody_refuse('sealed', 'This operation is sealed: no movement can be added to it.',
                               jsonb_build_object('operation', sealed));
    END IF;
    RETURN NULL;
END $$;
CREATE TRIGGER movement_sealed AFTER INSERT ON custody_movement REFERENCING NEW TABLE AS added
    FOR EACH STATEMENT EXECUTE FUNCTION custody_sealed();

CREATE FUNCTION custody_balanced() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
DECLARE
    lines record;
BEGIN
    SELECT count(*) AS counted, coalesce(min(m.least), 0) AS least,
           coalesce(sum(m.sign * m.gross_mg), 0) AS gross, coalesce(sum(m.sign * m.au_mg), 0) AS au,
           coalesce(sum(m.sign * m.ag_mg), 0) AS ag, coalesce(sum(m.sign * m.pt_mg), 0) AS pt,
           coalesce(sum(m.sign * m.pd_mg), 0) AS pd, coalesce(sum(m.sign * m.cu_mg), 0) AS cu
      INTO lines
      FROM (SELECT *, CASE WHEN side IN ('in', 'add') THEN 1 ELSE -1 END AS sign,
                   CASE WHEN side IN ('in', 'out')
                        THEN least(gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg) ELSE 0 END AS least
              FROM custody_movement WHERE operation_id = NEW.id) m;
    IF lines.counted <> NEW.movement_count OR lines.counted = 0 THEN
        PERFORM custody_refuse('movements_complete', 'An operation has exactly the movements that it says, at least one.',
            jsonb_build_object('operation', NEW.number, 'said', NEW.movement_count, 'found', lines.counted));
    END IF;
    IF (lines.gross, lines.au, lines.ag, lines.pt, lines.pd, lines.cu) IS DISTINCT FROM (0, 0, 0, 0, 0, 0) THEN
        PERFORM custody_refuse('balance', 'In + added does not equal out + declared losses.',
            jsonb_build_object('operation', NEW.number, 'missing_mg', jsonb_build_object('gross', lines.gross,
                'Au', lines.au, 'Ag', lines.ag, 'Pt', lines.pt, 'Pd', lines.pd, 'Cu', lines.cu)));
    END IF;
    IF lines.least < 0 AND NEW.kind <> 'reverse' THEN
        PERFORM custody_refuse('negative_amount', 'A lot is given or takes a positive mass.',
            jsonb_build_object('operation', NEW.number));
    END IF;
    RETURN NULL;
END $$;
CREATE CONSTRAINT TRIGGER operation_balanced AFTER INSERT ON custody_operation
    NOT DEFERRABLE FOR EACH ROW EXECUTE FUNCTION custody_balanced();
