DROP FUNCTION custody_accepted_by_another() CASCADE;
DROP SEQUENCE custody_number_determination;
ALTER TABLE custody_settlement DROP CONSTRAINT approved_by_another;
ALTER TABLE custody_operation DROP CONSTRAINT countersigned_by_another, DROP CONSTRAINT countersigned_in_words,
    DROP CONSTRAINT over_tolerance_countersigned;
