DROP FUNCTION custody_clear(text, text, text, timestamptz, bigint);
ALTER TABLE custody_handover DROP CONSTRAINT difference_explained, DROP CONSTRAINT handover_weighed_or_not,
    DROP CONSTRAINT not_weighed_for_a_known_reason, DROP CONSTRAINT not_weighed_countersigned,
    DROP CONSTRAINT handover_countersigned_by_another, DROP CONSTRAINT handover_signed_by_both,
    DROP CONSTRAINT seen_or_not_found, DROP CONSTRAINT not_found_stays;
DROP FUNCTION custody_hand_over(jsonb), custody_read_handover(custody_lot, jsonb),
    custody_check_handover(custody_lot, custody_handover), custody_check_not_weighed(custody_lot, custody_handover),
    custody_weigh_handover(custody_lot, custody_handover, jsonb),
    custody_countersign_handover(custody_lot, custody_handover, jsonb);
