DROP FUNCTION custody_fates_of(bigint);
DROP FUNCTION custody_origins_of(bigint);
