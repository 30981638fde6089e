DROP FUNCTION custody_check_exchanged(bigint), custody_seal_result(jsonb), custody_exchange_outcome(bigint),
    custody_settled_ppm(int, int, int, int, text);
DROP VIEW custody_exchangeresult;
DROP FUNCTION custody_both_in(bigint);
