DROP FUNCTION custody_issue_settlement(jsonb);
DROP SEQUENCE custody_number_settlement;
