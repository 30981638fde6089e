DROP FUNCTION custody_read_addition(custody_rule, jsonb);
DROP FUNCTION custody_read_loss(custody_rule, jsonb);
DROP FUNCTION custody_read_output(custody_operation, jsonb, boolean);
DROP FUNCTION custody_take(custody_operation, custody_lot, jsonb);
DROP FUNCTION custody_check_lot(custody_operation, custody_lot, boolean);
DROP FUNCTION custody_lock_lots(text[]);
DROP FUNCTION custody_sum(custody_line[], text[]);
DROP FUNCTION custody_read_amounts(jsonb);
DROP TYPE custody_line;
