ALTER TABLE custody_determination DROP CONSTRAINT exchange_named;
DROP FUNCTION custody_check_exchanged(bigint), custody_handed_in(bigint, bigint), custody_seal_result(jsonb),
    custody_check_hands(custody_sealedresult, custody_exchange),
    custody_check_result(custody_sealedresult, custody_exchange, custody_exchangeterms), custody_exchange_outcome(bigint),
    custody_settled_ppm(int, int, int, int, text);
DROP FUNCTION custody_exchange_as_agreed() CASCADE;
DROP FUNCTION custody_exchange_due(bigint);
DROP VIEW custody_exchangeresult;
DROP FUNCTION custody_opened(bigint);
