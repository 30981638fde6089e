DROP TRIGGER weighing_on_a_checked_scale ON custody_weighing;
DROP TRIGGER scale_plate ON custody_scale;
DROP FUNCTION custody_weighing_on_a_checked_scale(), custody_check_melt_weight(custody_weighing),
    custody_is_reading(bigint, bigint, bigint),
    custody_checked(bigint, timestamptz), custody_check_scale(jsonb), custody_scale_plate(),
    custody_permissible_ug(bigint, bigint);
