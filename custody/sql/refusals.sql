-- Every refusal of the book leaves through this door: a name that the application knows, a sentence, and the
-- figures. SQLSTATE CB001 is the house's own.
CREATE FUNCTION custody_refuse(rule text, sentence text, detail jsonb DEFAULT '{}'::jsonb) RETURNS void
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    RAISE EXCEPTION USING ERRCODE = 'CB001', MESSAGE = sentence, CONSTRAINT = rule, DETAIL = detail::text;
END $$;
