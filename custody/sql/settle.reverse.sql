DROP FUNCTION custody_issue_settlement(jsonb);
