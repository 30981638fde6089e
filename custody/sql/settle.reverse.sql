DROP FUNCTION custody_issue_settlement(jsonb);
DROP FUNCTION custody_received(bigint, text);
DROP SEQUENCE custody_number_settlement;
