DROP TRIGGER run_current_ends ON custody_run;
DROP TRIGGER cellreading_apart ON custody_cellreading;
DROP FUNCTION custody_current_ends();
DROP FUNCTION custody_currents_apart();
