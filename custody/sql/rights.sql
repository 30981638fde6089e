-- What the application may call. It has no right of its own to write the ledger.
REVOKE EXECUTE ON ALL FUNCTIONS IN SCHEMA public FROM PUBLIC;
GRANT EXECUTE ON FUNCTION custody_post(jsonb), custody_hand_over(jsonb), custody_check_scale(jsonb),
    custody_amend(jsonb), custody_seal_result(jsonb),
    custody_clear(text, text, text, timestamptz, bigint), custody_close_period(date, bigint),
    custody_issue_settlement(jsonb),
    custody_origins_of(bigint), custody_fates_of(bigint),
    custody_content(bigint, bigint[], boolean), custody_taken(bigint), custody_taken(custody_movement),
    custody_columns(custody_lot), custody_columns(custody_movement), custody_slice(custody_movement),
    custody_sole(bigint, boolean, bigint[]), custody_rest_share(bigint, bigint, bigint),
    custody_floor_share(bigint, bigint, bigint), custody_local_day(timestamptz),
    custody_refuse(text, text, jsonb), custody_append_only(), custody_accepted_by_another(),
    custody_worked_on(bigint, bigint), custody_check_exchanged(bigint), custody_exchange_outcome(bigint),
    custody_opened(bigint), custody_handed_in(bigint, bigint), custody_exchange_due(bigint),
    custody_exchange_agreed(bigint, text, date),
    custody_exchange_as_agreed(), custody_permissible_ug(bigint, bigint), custody_checked(bigint, timestamptz),
    custody_weighing_on_a_checked_scale(), custody_check_melt_weight(custody_weighing), custody_reading_of_a_worksheet(), custody_proof_metal_stays(), custody_is_reading(bigint, bigint, bigint), custody_scale_plate(),
    custody_half_even(numeric, numeric), custody_slip_ends_once(), custody_leaving_is_weighed(), custody_declared(bigint, text, text),
    custody_mixing_faults(custody_lot[]), custody_same_parcels(custody_lot[]),
    custody_pack_box(jsonb), custody_open_box(jsonb), custody_box_of(bigint), custody_box_stays_together(), custody_refuse_boxed(custody_lot, bigint), custody_open_vault(jsonb), custody_close_vault(jsonb),
    custody_count_stock(jsonb), custody_change_place(jsonb), custody_effluent_limits(date), custody_assayed_as_it_is(custody_lot), custody_solution_is_stale(custody_solutionassay), custody_currents_apart(), custody_current_ends(), custody_serial_is_free(),
    custody_lock_serial(text, int, text), custody_in_range(custody_serialrange, text), custody_ranges_meet(custody_serialrange, custody_serialrange), custody_ranges_apart(), custody_bar_type_stays(),
    custody_poor_yield(custody_operation, custody_rule, bigint[], custody_line[]), custody_drawn(bigint, int, text[]),
    custody_lost_since(text), custody_last_recovery(text),
    custody_unassayed(custody_lot), custody_cleaned_out(custody_lot), custody_valued_before(bigint, bigint), custody_figures_are_told()
    , custody_per_ounce(numeric, text), custody_price_counts(custody_price), custody_lock_prices(custody_price),
    custody_price_before(custody_price), custody_judge_price(), custody_price_confirmed(), custody_price_limit_ahead()
    TO custody_app;
