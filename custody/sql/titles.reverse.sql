DROP FUNCTION custody_check_return(custody_operation, custody_lot, custody_line);
DROP FUNCTION custody_check_gate(custody_operation, text, custody_line[], custody_lot[]);
DROP FUNCTION custody_claim_titles(custody_operation, bigint[]);
DROP FUNCTION custody_payable_ppm(bigint, date, text);
ALTER TABLE custody_metalaccount DROP CONSTRAINT account_never_negative;
DROP FUNCTION custody_account_entry(bigint, text, bigint, timestamptz, bigint, bigint, bigint);
