DROP TRIGGER collection_is_weighed ON custody_collection;
DROP TRIGGER slip_ends_once ON custody_spoiledslip;
DROP FUNCTION custody_amend(jsonb), custody_amend_origin(custody_lot), custody_lock_made_of(custody_lot),
    custody_declared(bigint, text, text),
    custody_record_collection(custody_operation, text, jsonb),
    custody_record_purchase(custody_operation, jsonb, bigint[], bigint[]), custody_slip_ends_once(),
    custody_leaving_is_weighed(),
    custody_record_delivery(custody_operation, jsonb);
