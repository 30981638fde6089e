DROP FUNCTION custody_withdraw(bigint[], bigint);
DROP FUNCTION custody_apportion(bigint, bigint[]);
DROP FUNCTION custody_spread(bigint[], bigint[]);
DROP TYPE custody_share;
DROP FUNCTION custody_spread_one(bigint[], bigint[], bigint, bigint, bigint);
DROP FUNCTION custody_rest_share(bigint, bigint, bigint);
DROP FUNCTION custody_floor_share(bigint, bigint, bigint);
