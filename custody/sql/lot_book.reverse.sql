DROP FUNCTION custody_lot_is_what_it_is() CASCADE;
DROP INDEX one_content_per_vessel;
ALTER TABLE custody_movement DROP CONSTRAINT movement_metals_over_gross, DROP CONSTRAINT movement_has_a_side;
ALTER TABLE custody_lot DROP CONSTRAINT overdraw, DROP CONSTRAINT metals_over_gross,
    DROP CONSTRAINT unvalued_has_no_metal, DROP CONSTRAINT unbroken_custody;
