-- What the application may call. It has no right of its own to write the ledger.
REVOKE EXECUTE ON ALL FUNCTIONS IN SCHEMA public FROM PUBLIC;
GRANT EXECUTE ON FUNCTION custody_post(jsonb), custody_hand_over(text, timestamptz, bigint, text, bigint, text, bigint, uuid),
    custody_clear(text, text, text, timestamptz, bigint), custody_close_period(date, bigint),
    custody_issue_settlement(jsonb),
    custody_origins_of(bigint), custody_fates_of(bigint),
    custody_content(bigint, bigint[], boolean), custody_taken(bigint), custody_taken(custody_movement),
    custody_columns(custody_lot), custody_columns(custody_movement), custody_slice(custody_movement),
    custody_sole(bigint, boolean, bigint[]), custody_rest_share(bigint, bigint, bigint),
    custody_floor_share(bigint, bigint, bigint), custody_local_day(timestamptz),
    custody_refuse(text, text, jsonb), custody_append_only(), custody_accepted_by_another()
    TO custody_app;
