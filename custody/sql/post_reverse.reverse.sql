DROP FUNCTION custody_undo_marks(custody_operation, custody_operation);
DROP FUNCTION custody_post_reversal(custody_operation, jsonb);
DROP FUNCTION custody_give_back(custody_operation, custody_movement, int);
DROP FUNCTION custody_check_reversible(custody_operation, custody_operation);
DROP FUNCTION custody_check_nothing_counts_on(custody_operation);
DROP FUNCTION custody_check_outputs_as_left(custody_operation);
DROP FUNCTION custody_sampled_from(bigint);
