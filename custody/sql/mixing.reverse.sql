DROP FUNCTION custody_mixture_of(custody_lot[]);
DROP TYPE custody_mixture;
DROP FUNCTION custody_check_mixing(custody_lot[]);
DROP FUNCTION custody_mixing_faults(custody_lot[]);
DROP FUNCTION custody_same_parcels(custody_lot[]);
