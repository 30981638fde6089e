DROP FUNCTION custody_clear(text, text, text, timestamptz, bigint);
DROP FUNCTION custody_hand_over(text, timestamptz, bigint, text, bigint, text, bigint, uuid);
