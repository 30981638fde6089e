-- The one door into the ledger. An operation is recorded whole or not at all. The application may execute this
-- function; it has no right to write the ledger's tables. Locks: the month shared, the lots by id, the metal accounts.
-- Statements are planned once a session and read by index: a plan made while the tables were small must not scan them
-- when they have grown.
CREATE FUNCTION custody_post(request jsonb) RETURNS jsonb
LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp
SET plan_cache_mode = force_generic_plan SET enable_seqscan = off AS $$
DECLARE
    op custody_operation;
    rule custody_rule;
    earlier custody_operation;
BEGIN
    IF request ? 'request_key' THEN
        -- A form sent twice waits here for the first and then gets the same answer.
        PERFORM pg_advisory_xact_lock(hashtextextended(request ->> 'request_key', 0));
        SELECT * INTO earlier FROM custody_operation WHERE request_key = (request ->> 'request_key')::uuid;
        IF FOUND AND encode(earlier.request_sha256, 'hex') IS DISTINCT FROM request ->> 'request_sha256' THEN
            PERFORM custody_refuse('request_key', 'This request was recorded before with other figures.',
                                   jsonb_build_object('operation', earlier.number));
        ELSIF FOUND THEN
            RETURN jsonb_build_object('id', earlier.id, 'number', earlier.number, 'replayed', true,
                                      'lots', custody_outputs(earlier.id));
        END IF;
    END IF;
    rule := custody_rule_of(request ->> 'kind');
    op := custody_head(request);
    RETURN CASE op.kind
        WHEN 'receive' THEN custody_post_receive(op, rule, request)
        WHEN 'value' THEN custody_post_value(op, rule, request)
        WHEN 'reverse' THEN custody_post_reversal(op, request)
        ELSE custody_post_step(op, rule, request) END;
END $$;
