DROP FUNCTION custody_charged(bigint);
DROP FUNCTION custody_post_step(custody_operation, custody_rule, jsonb);
DROP FUNCTION custody_ready_output(custody_operation, custody_line, bigint);
DROP FUNCTION custody_record(custody_operation, custody_line[], custody_lot[], custody_line[], custody_line[], custody_mixture);
DROP FUNCTION custody_gather_gains(custody_operation, custody_line[], int);
DROP TYPE custody_gains;
DROP FUNCTION custody_lost_since(text);
DROP FUNCTION custody_of_run(custody_operation, jsonb, custody_lot[], custody_line[]);
