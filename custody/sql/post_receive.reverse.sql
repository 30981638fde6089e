DROP FUNCTION custody_post_receive(custody_operation, custody_rule, jsonb);
DROP FUNCTION custody_returned_bar(jsonb);
DROP FUNCTION custody_exchange_agreed(bigint, text, date);
