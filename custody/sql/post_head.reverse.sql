DROP FUNCTION custody_seal(custody_operation, int);
DROP FUNCTION custody_outputs(bigint);
DROP FUNCTION custody_check_balance(custody_operation, custody_line[]);
DROP FUNCTION custody_drawn(bigint, int, text[]);
DROP FUNCTION custody_poor_yield(custody_operation, custody_rule, bigint[], custody_line[]);
DROP FUNCTION custody_check_tolerance(custody_operation, custody_rule, bigint[], custody_line[]);
DROP FUNCTION custody_rule_of(text);
DROP FUNCTION custody_place(text, bigint);
DROP FUNCTION custody_head(jsonb);
