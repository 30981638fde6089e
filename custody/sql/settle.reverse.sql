ALTER TABLE custody_settlement DROP CONSTRAINT approved_in_words;
ALTER TABLE custody_settlement DROP CONSTRAINT correction_says_why;
DROP FUNCTION custody_issue_settlement(jsonb);
DROP FUNCTION custody_settle_metals(bigint, custody_operation, jsonb, timestamptz);
DROP FUNCTION custody_received(bigint, text);
DROP SEQUENCE custody_number_settlement;
