DROP FUNCTION custody_post(jsonb);
