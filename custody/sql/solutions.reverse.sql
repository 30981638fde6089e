DROP FUNCTION custody_check_discharge(custody_operation, custody_lot[]);
DROP FUNCTION custody_assayed_as_it_is(custody_lot);
DROP FUNCTION custody_effluent_limits(date);
DROP TRIGGER solutionfigure_told ON custody_solutionfigure;
DROP FUNCTION custody_figures_are_told();
DROP FUNCTION custody_solution_holds(custody_solutionassay);
DROP FUNCTION custody_solution_of(custody_operation, custody_lot, text);
DROP FUNCTION custody_solution_is_stale(custody_solutionassay);
DROP SEQUENCE custody_number_solution;
