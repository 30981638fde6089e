DROP FUNCTION custody_refuse(text, text, jsonb);
