DROP FUNCTION custody_accepted_by_another() CASCADE;
DROP FUNCTION custody_worked_on(bigint, bigint);
DROP SEQUENCE custody_number_determination, custody_number_worksheet, custody_number_exchange, custody_number_slip,
    custody_number_route;
ALTER TABLE custody_settlement DROP CONSTRAINT approved_by_another;
ALTER TABLE custody_operation DROP CONSTRAINT countersigned_by_another, DROP CONSTRAINT countersigned_in_words,
    DROP CONSTRAINT over_tolerance_countersigned;
