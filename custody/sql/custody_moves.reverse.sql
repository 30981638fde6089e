DROP FUNCTION custody_clear(text, text, text, timestamptz, bigint);
ALTER TABLE custody_handover DROP CONSTRAINT difference_explained;
DROP FUNCTION custody_hand_over(jsonb), custody_check_handover(custody_lot, custody_handover, bigint),
    custody_weigh_handover(custody_lot, custody_handover, jsonb, bigint);
