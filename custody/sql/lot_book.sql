-- I2, no overdraw: no lot's gross or metal goes below zero, and its metals never exceed its gross.
-- I4, unbroken custody: a lot with mass in it has one custodian and one place. (One column each: never two.)
ALTER TABLE custody_lot
    ADD CONSTRAINT overdraw CHECK (least(gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg) >= 0),
    ADD CONSTRAINT metals_over_gross CHECK (au_mg + ag_mg + pt_mg + pd_mg + cu_mg <= gross_mg),
    ADD CONSTRAINT unvalued_has_no_metal CHECK (valued OR au_mg + ag_mg + pt_mg + pd_mg + cu_mg = 0),
    ADD CONSTRAINT unbroken_custody CHECK (gross_mg = 0 OR (custodian_id IS NOT NULL AND place_id IS NOT NULL));

-- A movement's metals never exceed its gross on the side of a lot. (A loss or a valuation may be metal alone.)
ALTER TABLE custody_movement
    ADD CONSTRAINT movement_metals_over_gross CHECK (
        side IN ('add', 'loss') OR abs(au_mg + ag_mg + pt_mg + pd_mg + cu_mg) <= abs(gross_mg)),
    ADD CONSTRAINT movement_has_a_side CHECK (side IN ('in', 'add', 'out', 'loss'));

-- A vessel holds at most one content.
CREATE UNIQUE INDEX one_content_per_vessel ON custody_lot (place_id) WHERE form = 'in process' AND gross_mg > 0;

-- What a lot is never changes: its number, its form, where it was made.
CREATE FUNCTION custody_lot_is_what_it_is() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_refuse('append_only', 'A lot keeps its number, its form and its making for ever.',
                           jsonb_build_object('lot', OLD.number));
    RETURN NULL;
END $$;
CREATE TRIGGER lot_is_what_it_is BEFORE UPDATE ON custody_lot FOR EACH ROW
    WHEN ((OLD.id, OLD.number, OLD.form, OLD.created_by_id, OLD.receipt_id, OLD.run_id)
          IS DISTINCT FROM (NEW.id, NEW.number, NEW.form, NEW.created_by_id, NEW.receipt_id, NEW.run_id))
    EXECUTE FUNCTION custody_lot_is_what_it_is();
