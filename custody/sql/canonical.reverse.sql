DROP FUNCTION custody_canonical(custody_operation);
DROP FUNCTION custody_moment(timestamptz);
DROP FUNCTION custody_json(text);
