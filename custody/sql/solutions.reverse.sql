DROP TRIGGER cellreading_apart ON custody_cellreading;
DROP FUNCTION custody_currents_apart();
DROP FUNCTION custody_check_discharge(custody_operation, custody_lot[]);
DROP FUNCTION custody_effluent_limits(date);
DROP FUNCTION custody_solution_holds(custody_solutionassay);
DROP FUNCTION custody_solution_of(custody_operation, custody_lot, text);
DROP SEQUENCE custody_number_solution;
