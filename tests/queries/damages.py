"""What a superuser can do to the book with the triggers off, and the invariant that an examination must find broken."""

MELT = "(SELECT id FROM custody_operation WHERE number = '{melt}')"
POOL = "(SELECT id FROM custody_lot WHERE number = '{pool}')"
OUT = f"operation_id = {MELT} AND side = 'out' AND lot_id = {POOL}"
FIRST = "(SELECT min(id) FROM custody_origin)"
LATER = "number = '{split}'"

#: name: (invariant that must be found broken, resealed, statements)
DAMAGES = {
    # I1
    "an unbalanced movement": ("I1", True, f"UPDATE custody_movement SET gross_mg = gross_mg + 1 WHERE {OUT}"),
    "a movement gone": ("I1", True, f"DELETE FROM custody_movement WHERE operation_id = {MELT} AND side = 'loss'"),
    "a movement added": (
        "I1", True,
        "INSERT INTO custody_movement SELECT (jsonb_populate_record(m, jsonb_build_object('id', 900000, 'line', 99))).*"
        f" FROM custody_movement m WHERE operation_id = {MELT} AND line = 1",
    ),
    "a balanced pair added": (
        "I1", True,
        "INSERT INTO custody_movement (operation_id, line, side, what, words, gross_mg, au_mg, ag_mg, pt_mg, pd_mg,"
        f" cu_mg, valued, whole, spread) SELECT {MELT}, 90 + n, s, 'flux', '', 5, 0, 0, 0, 0, 0, true, false, 0"
        " FROM (VALUES (1, 'add'), (2, 'loss')) v(n, s)",
    ),
    "a reversal that is no mirror": (
        "I1", True,
        "UPDATE custody_movement SET au_mg = au_mg + 1 WHERE operation_id = (SELECT id FROM custody_operation"
        " WHERE number = '{reversal}') AND (side = 'out' OR line = (SELECT max(line) FROM custody_movement"
        " WHERE operation_id = (SELECT id FROM custody_operation WHERE number = '{reversal}')))",
    ),
    # I2
    "two movements changed in balance": (
        "I2", True,
        f"UPDATE custody_movement SET au_mg = au_mg + 1 WHERE operation_id = {MELT} AND side = 'in' AND line = 3"
        f"; UPDATE custody_movement SET au_mg = au_mg + 1 WHERE {OUT}",
    ),
    "a lot's gross": ("I2", False, f"UPDATE custody_lot SET gross_mg = gross_mg + 1 WHERE id = {POOL}"),
    "a lot's metals": ("I2", False, f"UPDATE custody_lot SET au_mg = au_mg - 1, ag_mg = ag_mg + 1 WHERE id = {POOL}"),
    "a lot emptied": (
        "I2", False, f"UPDATE custody_lot SET gross_mg = 0, au_mg = 0, ag_mg = 0, cu_mg = 0 WHERE id = {POOL}"),
    "a lot below zero": (
        "I2", True,
        "ALTER TABLE custody_lot DROP CONSTRAINT overdraw; ALTER TABLE custody_lot DROP CONSTRAINT metals_over_gross;"
        " ALTER TABLE custody_movement DROP CONSTRAINT movement_metals_over_gross;"
        f" UPDATE custody_movement SET gross_mg = gross_mg - 1800000 WHERE {OUT};"
        f" UPDATE custody_lot SET gross_mg = gross_mg - 1800000 WHERE id = {POOL}",
    ),
    "a lot gone": ("I2", False, "DELETE FROM custody_lot WHERE number = 'OLD-C'"),
    "an operation gone with its movements": (
        "I2", False,
        f"DELETE FROM custody_movement WHERE operation_id = {MELT}; DELETE FROM custody_operation WHERE id = {MELT}",
    ),
    "a withdrawal that does not follow": (
        "I2", True,
        "UPDATE custody_movement SET au_mg = au_mg - 1, ag_mg = ag_mg + 1 WHERE operation_id ="
        " (SELECT id FROM custody_operation WHERE number = '{split}');"
        f" UPDATE custody_lot SET au_mg = au_mg + 1, ag_mg = ag_mg - 1 WHERE id = {POOL}",
    ),
    "a line said to be whole": (
        "I2", False, f"UPDATE custody_movement SET whole = true WHERE operation_id = {MELT} AND line = 3"),
    "a line that found another content": (
        "I2", False, f"UPDATE custody_movement SET content_before = content_before + 1 WHERE operation_id = {MELT}"),
    "a lot said to be unvalued": (
        "I2", False, "UPDATE custody_movement SET valued = false WHERE lot_id = (SELECT id FROM custody_lot"
        " WHERE number = 'OLD-C')"),
    # I3
    "an operation gone": ("I3", False, f"DELETE FROM custody_operation WHERE id = {MELT}"),
    "the time of an operation": (
        "I3", False, f"UPDATE custody_operation SET at = at + interval '1 second' WHERE {LATER}"),
    "who recorded an operation": ("I3", False, f"UPDATE custody_operation SET by_id = by_id + 1 WHERE {LATER}"),
    "the reason of an operation": (
        "I3", False, "UPDATE custody_operation SET reason = 'Entered once' WHERE number = '{reversal}'"),
    "canonical bytes with their SHA-256": (
        "I3", False,
        "UPDATE custody_operation SET canonical = replace(canonical, 'Entered twice', 'Entered once'), sha256 ="
        " sha256(convert_to(replace(canonical, 'Entered twice', 'Entered once'), 'UTF8')) WHERE number = '{reversal}'",
    ),
    "a SHA-256": ("I3", False, f"UPDATE custody_operation SET sha256 = sha256('x') WHERE {LATER}"),
    "the words of a movement": (
        "I3", False, f"UPDATE custody_movement SET words = 'chimney' WHERE operation_id = {MELT} AND side = 'loss'"),
    "a lot's number": ("I3", False, "UPDATE custody_lot SET number = 'OLD-Z' WHERE number = 'OLD-C'"),
    "a lot's form": ("I3", False, "UPDATE custody_lot SET form = 'scrap' WHERE number = 'OLD-C'"),
    "a bar's serial": ("I3", False, "UPDATE custody_bar SET serial = 'HF-7' WHERE serial = 'HF-1'"),
    "a trigger off": ("I3", False, "ALTER TABLE custody_movement DISABLE TRIGGER movement_sealed"),
    "all triggers off": ("I3", False, "ALTER TABLE custody_lot DISABLE TRIGGER ALL"),
    "a trigger for replicas only": (
        "I3", False, "ALTER TABLE custody_operation ENABLE REPLICA TRIGGER operation_balanced"),
    "a trigger gone": ("I3", False, "DROP TRIGGER operation_append_only ON custody_operation"),
    "a constraint gone": ("I3", False, "ALTER TABLE custody_lot DROP CONSTRAINT overdraw"),
    "a constraint not enforced": (
        "I3", False,
        "ALTER TABLE custody_lot DROP CONSTRAINT overdraw;"
        " ALTER TABLE custody_lot ADD CONSTRAINT overdraw CHECK (gross_mg >= 0) NOT VALID",
    ),
    "a unique index gone": ("I3", False, "DROP INDEX unique_uncancelled_bar"),
    "a current read before its run": (
        "I3", False, "UPDATE custody_cellreading SET from_at = from_at - interval '1 day'"),
    "a current read twice": (
        "I3", False, "INSERT INTO custody_cellreading (run_id, from_at, to_at, milliampere, note, by_id, at) SELECT"
        " run_id, from_at, to_at, milliampere, note, by_id, at FROM custody_cellreading"),
    "a right to insert": ("I3", False, "GRANT INSERT ON custody_movement TO custody_app"),
    "a right to change one column": ("I3", False, "GRANT UPDATE (gross_mg) ON custody_lot TO custody_app"),
    "a right to truncate for everybody": ("I3", False, "GRANT TRUNCATE ON custody_operation TO PUBLIC"),
    "a right to delete by a detour": (
        "I3", False,
        "CREATE ROLE custody_detour NOLOGIN; GRANT DELETE ON custody_handover TO custody_detour;"
        " GRANT custody_detour TO custody_app",
    ),
    "another door into the ledger": (
        "I3", False,
        "ALTER FUNCTION custody_account_entry SECURITY DEFINER;"
        " GRANT EXECUTE ON FUNCTION custody_account_entry TO custody_app",
    ),
    # I4
    "a lot's custodian": ("I4", False, f"UPDATE custody_lot SET custodian_id = custodian_id + 1 WHERE id = {POOL}"),
    "a lot's place": ("I4", False, f"UPDATE custody_lot SET place_id = place_id + 1 WHERE id = {POOL}"),
    "a handover gone": ("I4", False, "DELETE FROM custody_handover WHERE id = (SELECT max(id) FROM custody_handover)"),
    "every first handover gone": (
        "I4", False, "DELETE FROM custody_handover WHERE id IN (SELECT min(id) FROM custody_handover GROUP BY lot_id)"),
    "a handover's receiver": (
        "I4", False,
        "UPDATE custody_handover SET to_person_id = from_person_id WHERE id = (SELECT max(id) FROM custody_handover)",
    ),
    "a handover's mass": (
        "I4", False,
        "UPDATE custody_handover SET book_mg = book_mg - 1 WHERE id = (SELECT max(id) FROM custody_handover)",
    ),
    "a handover's time": (
        "I4", False,
        "UPDATE custody_handover SET at = at - interval '400 days' WHERE id = (SELECT max(id) FROM custody_handover)",
    ),
    "the weighing of a return gone": ("I4", False, "DELETE FROM custody_weighing WHERE purpose = 'return'"),
    "the weighing of a return": (
        "I4", False, "UPDATE custody_weighing SET gross_mg = gross_mg - 5000, net_mg = net_mg - 5000"
        " WHERE purpose = 'return'"),
    "the weighing at the gate gone": ("I4", False, "DELETE FROM custody_weighing WHERE purpose = 'gate'"),
    "the weighing at the gate": (
        "I4", False, "UPDATE custody_weighing SET gross_mg = gross_mg - 5000, net_mg = net_mg - 5000"
        " WHERE purpose = 'gate'"),
    "a bar in two closed boxes": ("I4", False, "DELETE FROM custody_boxopening"),
    "a seal used twice": ("I4", False, "UPDATE custody_box SET seal = 'S-77'"),
    "a bar of a box elsewhere": (
        "I4", False, "UPDATE custody_lot SET custodian_id = custodian_id + 1 WHERE id = (SELECT max(lot_id)"
        " FROM custody_boxbar)"),
    "what a check weighing came to": (
        "I4", False, "UPDATE custody_handover SET weighed_mg = weighed_mg - 1 WHERE weighed_mg IS NOT NULL"),
    "a check weighing of another lot": (
        "I4", False, "UPDATE custody_weighing SET lot_id = lot_id - 1 WHERE purpose = 'handover'"),
    "a check weighing gone": ("I4", False, "DELETE FROM custody_weighing WHERE purpose = 'handover'"),
    "a check weighing of no handover": (
        "I4", False, "UPDATE custody_weighing SET purpose = 'handover' WHERE purpose = 'receipt'"),
    "who recorded a check weighing": (
        "I4", False, "UPDATE custody_handover SET by_id = to_person_id WHERE weighing_id IS NOT NULL"),
    "what both scales could be off by": (
        "I4", False, "UPDATE custody_handover SET allowed_ug = allowed_ug + 1 WHERE weighing_id IS NOT NULL"),
    "a difference that nobody countersigned": (
        "I4", False,
        "ALTER TABLE custody_handover DROP CONSTRAINT difference_explained;"
        " UPDATE custody_weighing SET gross_mg = gross_mg - 5000, net_mg = net_mg - 5000 WHERE purpose = 'handover';"
        " UPDATE custody_handover SET weighed_mg = weighed_mg - 5000 WHERE weighing_id IS NOT NULL",
    ),
    "an explanation of no difference": (
        "I4", False, "UPDATE custody_handover SET explanation = 'Dust' WHERE weighing_id IS NOT NULL"),
    "why a lot was not weighed": (
        "I4", False, "UPDATE custody_handover SET not_weighed = 'bar counted by its serial' WHERE weighing_id IS NULL"
        " AND lot_id NOT IN (SELECT lot_id FROM custody_bar)"),
    "that no scale could be used": (
        "I4", False, "ALTER TABLE custody_handover DROP CONSTRAINT not_weighed_countersigned;"
        " UPDATE custody_handover SET not_weighed = 'no scale could be used' WHERE weighing_id IS NULL"),
    "a shift handover that one signed": (
        "I4", False, "ALTER TABLE custody_handover DROP CONSTRAINT handover_signed_by_both; UPDATE custody_handover"
        " SET not_weighed = 'shift handover, seen and scanned' WHERE weighing_id IS NULL"),
    "the net of a weighing": (
        "I4", False, "ALTER TABLE custody_weighing DROP CONSTRAINT net_is_gross_less_tare;"
        " UPDATE custody_weighing SET net_mg = net_mg + 1 WHERE purpose = 'receipt'"),
    "a check that failed": ("I4", False, "UPDATE custody_scalecheck SET passed = false"),
    "the reading of a check": ("I4", False, "UPDATE custody_scalecheckload SET reading_ug = reading_ug + 10000000"),
    "the limit of a check": ("I4", False, "UPDATE custody_scalecheckload SET limit_ug = limit_ug * 2"),
    "checks of another day": (
        "I4", False, "UPDATE custody_scalecheck SET at = at - interval '2 days', day = day - 2"),
    "checks gone": ("I4", False, "DELETE FROM custody_scalecheckload; DELETE FROM custody_scalecheck"),
    "the capacity of a scale": ("I4", False, "UPDATE custody_scale SET max_mg = 1000"),
    "the interval of a scale": ("I4", False, "UPDATE custody_scale SET e_mg = e_mg * 10"),
    "what a scale sent": (
        "I4", False,
        "INSERT INTO custody_scalereading (id, scale_id, value_ug, stable, line, read_at, received_at, by_id,"
        " request_key, request_sha256) SELECT 900000, scale_id, gross_mg * 1000 + 1000, true, '', at, at, by_id,"
        " gen_random_uuid(), '' FROM custody_weighing ORDER BY id LIMIT 1; UPDATE custody_weighing"
        " SET gross_reading_id = 900000 WHERE id = (SELECT min(id) FROM custody_weighing)",
    ),
    "who held a lot as it was worked": (
        "I4", True,
        f"UPDATE custody_movement SET custodian_id = custodian_id + 1 WHERE operation_id = {MELT} AND line = 1",
    ),
    "who worked a lot": ("I4", True, f"UPDATE custody_operation SET by_id = by_id + 1 WHERE {LATER}"),
    "an operation moved before another": (
        "I4", True,
        "UPDATE custody_operation SET at = '2023-03-01 08:00+00' WHERE number = 'OLD-2'",
    ),
    "the time of a lot's last event": (
        "I4", False, f"UPDATE custody_lot SET last_at = last_at + interval '1 minute' WHERE id = {POOL}"),
    "a finished run of another vessel": (
        "I4", False, "UPDATE custody_run SET vessel_id = (SELECT max(id) FROM custody_place WHERE id <> vessel_id)"
        " WHERE finished_by_id IS NOT NULL"),
    "a run said to be finished": (
        "I4", False, f"UPDATE custody_run SET finished_by_id = {MELT} WHERE finished_by_id IS NULL"),
    "an access gone": (
        "I4", False, "DELETE FROM custody_vaultclosing; DELETE FROM custody_vaultaccess"),
    "an access shortened": ("I4", False, "UPDATE custody_vaultclosing SET at = at - interval '1 day'"),
    "another at the access": (
        "I4", False, "UPDATE custody_vaultaccess SET by_id = (SELECT id FROM custody_user WHERE"
        " username = 'otto')"),
    "an access opened later": ("I4", False, "UPDATE custody_vaultaccess SET at = now()"),
    "an access of one": (
        "I4", False, "ALTER TABLE custody_vaultaccess DROP CONSTRAINT vault_opened_by_two;"
        " UPDATE custody_vaultaccess SET second_id = by_id"),
    "a place that two people open no longer": (
        "I4", False, "UPDATE custody_place SET two_person = false WHERE code = 'CELL-1';"
        " UPDATE custody_placechange SET two_person = true"),
    "a place out of use": (
        "I4", False, "UPDATE custody_place SET active = false WHERE code = 'CELL-1'"),
    "a line of a count gone": (
        "I4", False, "DELETE FROM custody_stockcountline WHERE id = (SELECT max(id) FROM custody_stockcountline)"),
    "a count of another place": (
        "I4", False, "UPDATE custody_stockcount SET place_id = (SELECT id FROM custody_place WHERE code = 'LAB')"),
    "the mass of a count": ("I4", False, "UPDATE custody_stockcountline SET book_mg = book_mg - 1"),
    "who held what was counted": ("I4", False, "UPDATE custody_stockcountline SET custodian_id = custodian_id + 1"),
    "what was not found in silence": ("I4", False, "UPDATE custody_stockcountline SET note = '' WHERE NOT found"),
    "a count by one": (
        "I4", False, "ALTER TABLE custody_stockcount DROP CONSTRAINT counted_by_two;"
        " UPDATE custody_stockcount SET second_id = by_id"),
    # I5
    "milligrams of a vector, sums kept": (
        "I5", False,
        "UPDATE custody_vector SET mgs[1] = mgs[1] - 1, mgs[2] = mgs[2] + 1"
        f" WHERE operation_id = {MELT} AND line = 0 AND column_no = 1",
    ),
    "origins of a vector swapped": (
        "I5", False,
        "UPDATE custody_vector SET origins = ARRAY[origins[2], origins[1]] || origins[3:]"
        f" WHERE operation_id = {MELT} AND line = 0 AND column_no = 1",
    ),
    "an origin put for another": (
        "I5", False,
        "UPDATE custody_vector SET origins = array_replace(origins, origins[1], 900000)"
        f" WHERE operation_id = {MELT} AND line = 0 AND column_no = 1",
    ),
    "the total of a vector": (
        "I5", False, f"UPDATE custody_vector SET total_mg = total_mg + 1 WHERE operation_id = {MELT} AND line = 0"),
    "a vector gone": (
        "I5", False, f"DELETE FROM custody_vector WHERE operation_id = {MELT} AND line = 0 AND column_no = 1"),
    "a vector added": (
        "I5", False,
        "INSERT INTO custody_vector (operation_id, line, column_no, chunk, total_mg, origins, mgs)"
        f" VALUES ({MELT}, 0, 3, 0, 5, '{{1}}', '{{5}}')",
    ),
    "a chunk of a vector out of place": (
        "I5", False, f"UPDATE custody_vector SET chunk = 1 WHERE operation_id = {MELT} AND line = 0 AND column_no = 1"),
    "the bits of a share": ("I5", False, f"UPDATE custody_movement SET codes[2] = ~codes[2] WHERE {OUT}"),
    "two bits exchanged": (
        "I5", False,
        "UPDATE custody_movement SET codes[2] = overlay(overlay(codes[2]::bit varying PLACING"
        " CASE WHEN substring(codes[2] FOR 2) = B'01' THEN B'10' ELSE B'01' END FROM 1) PLACING"
        f" CASE WHEN substring(codes[2] FROM 3 FOR 2) = B'01' THEN B'10' ELSE B'01' END FROM 3) WHERE {OUT}",
    ),
    "the bits of a share gone": ("I5", False, f"UPDATE custody_movement SET codes = NULL WHERE {OUT}"),
    "bits too few": ("I5", False, f"UPDATE custody_movement SET codes[2] = B'01' WHERE {OUT}"),
    "a line's one origin": (
        "I5", False, f"UPDATE custody_movement SET origin_id = origin_id + 1 WHERE operation_id = {MELT} AND line = 1"),
    "a lot's content": (
        "I5", False, f"UPDATE custody_lot SET content_movement = content_movement - 1 WHERE id = {POOL}"),
    "what an origin was received as": (
        "I5", False, "UPDATE custody_originreceipt SET au_mg = au_mg + 1 WHERE id = (SELECT min(id)"
        " FROM custody_originreceipt WHERE au_mg > 0)"),
    "what an origin was received as, gone": (
        "I5", False, "DELETE FROM custody_originreceipt WHERE id = (SELECT min(id) FROM custody_originreceipt)"),
    "what origins were received as, swapped": (
        "I5", False,
        f"UPDATE custody_originreceipt SET origin_id = CASE origin_id WHEN {FIRST} THEN {FIRST} + 1 ELSE {FIRST} END"
        f" WHERE origin_id IN ({FIRST}, {FIRST} + 1)",
    ),
    "an origin gone": ("I5", False, f"DELETE FROM custody_origin WHERE id = {FIRST}"),
    "a parcel said to be a difference": (
        "I5", False, f"UPDATE custody_origin SET kind = 'difference', lot_id = NULL WHERE id = {FIRST}"),
    "origins of two lots swapped": (
        "I5", False,
        f"UPDATE custody_origin SET lot_id = NULL WHERE id IN ({FIRST}, {FIRST} + 1);"
        " UPDATE custody_origin o SET lot_id = m.lot_id FROM custody_movement m WHERE m.side = 'out'"
        f" AND m.origin_id = 2 * {FIRST} + 1 - o.id AND o.id IN ({FIRST}, {FIRST} + 1)",
    ),
    "a lot graph that tells lies": (
        "I5", False,
        "CREATE OR REPLACE VIEW custody_edge AS SELECT parent.lot_id AS parent_id, child.lot_id AS child_id,"
        " parent.operation_id FROM custody_movement parent JOIN custody_movement child ON child.operation_id ="
        " parent.operation_id AND child.side = 'out' AND parent.side = 'in' WHERE parent.lot_id < child.lot_id - 1",
    ),
    # I6
    "a bar twice": (
        "I6", True, "DROP INDEX unique_uncancelled_bar; UPDATE custody_bar SET serial = 'HF-1' WHERE serial = 'HF-2'"),
    "a bar's year": ("I6", True, "UPDATE custody_bar SET year = year - 1 WHERE serial = 'HF-1'"),
    "a bar cancelled": ("I6", False, f"UPDATE custody_bar SET cancelled_by_id = {MELT} WHERE serial = 'HF-1'"),
    "a bar said to replace another": (
        "I6", False, "UPDATE custody_bar SET replaces_id = (SELECT id FROM custody_bar WHERE serial = 'HF-2')"
        " WHERE serial = 'HF-1'"),
    "a bar of a type that it is too light for": (
        "I6", False, "UPDATE custody_bar SET bar_type_id = (SELECT id FROM custody_bartype WHERE code = 'AU-1000')"
        " WHERE serial = 'HF-1'"),
    "a bar of a type that it is too poor for": (
        "I6", False, "UPDATE custody_bartype SET least_mg = 1, nominal_mg = NULL, least_ppm = 1000000;"
        " UPDATE custody_bar SET bar_type_id = (SELECT min(id) FROM custody_bartype) WHERE serial = 'HF-1'"),
    "a bar outside a range that stood": (
        "I6", False, "INSERT INTO custody_serialrange (mark, year, head, width, first, last, set_by_id, set_at)"
        " SELECT mark, year, 'HF-', 2, 1, 9, (SELECT min(id) FROM custody_user), '2020-01-01' FROM custody_bar"
        " WHERE serial = 'HF-1'"),
    "a spoiled serial that a bar bears": (
        "I6", False, "INSERT INTO custody_serialevent (mark, year, serial, fate, reason, by_id, at)"
        " SELECT mark, year, serial, 'spoiled', 'x', (SELECT min(id) FROM custody_user), now() FROM custody_bar"
        " WHERE serial = 'HF-1'"),
    "two ranges that share a serial": (
        "I6", False, "INSERT INTO custody_serialrange (mark, year, head, width, first, last, set_by_id, set_at)"
        " SELECT mark, year, head || '00', width - 2, 9, 10, set_by_id, set_at FROM custody_serialrange"),
    "a stamp on a slag": (
        "I6", True,
        "UPDATE custody_lot SET form = 'slag' WHERE id = (SELECT lot_id FROM custody_bar WHERE serial = 'HF-1')",
    ),
    # I7
    "an origin that nobody amended": (
        "I7", False, "UPDATE custody_lot SET amended_origin = 'recycled|XX' WHERE id IN"
        " (SELECT lot_id FROM custody_amendment)"),
    "an origin amended without a signature": ("I7", False, "UPDATE custody_amendment SET field = 'country'"),
    "a release gone": ("I7", False, "DELETE FROM custody_clearanceevent"),
    "a release that came too late": (
        "I7", False, "UPDATE custody_clearanceevent SET at = now() WHERE clearance = 'released'"),
    "a hold that was not heeded": ("I7", False, "UPDATE custody_clearanceevent SET clearance = 'held'"),
    "a lot released by hand": ("I7", False, "UPDATE custody_lot SET clearance = 'released' WHERE number = '{held}'"),
    "sweepings that nobody assayed, sent away": (
        "I7", True, "UPDATE custody_movement SET au_mg = 0, ag_mg = 0, pt_mg = 0, pd_mg = 0, cu_mg = 0, lot_id ="
        " (SELECT max(l.id) FROM custody_lot l JOIN custody_operation o ON o.id = l.created_by_id"
        "   WHERE o.kind = 'clean out') WHERE id = (SELECT max(m.id) FROM custody_movement m"
        "   JOIN custody_operation o ON o.id = m.operation_id WHERE o.kind = 'dispatch' AND m.side = 'in')"),
    "a custody model": (
        "I7", False, "UPDATE custody_lot SET custody_model = 'identity preserved' WHERE created_by_id = (SELECT id"
        " FROM custody_operation WHERE number = '{receipt}')"),
    "a declared country": ("I7", False, "UPDATE custody_parcel SET country = 'XX'"),
    "a declaration gone": ("I7", False, "DELETE FROM custody_parcel WHERE country = 'CA'"),
    "the receipt of a mixture": (
        "I7", False, f"UPDATE custody_lot SET receipt_id = (SELECT min(id) FROM custody_operation) WHERE id = {POOL}"),
    # I8
    "an operation dated back into a closed month": (
        "I8", True, "UPDATE custody_operation SET at = '{month}', day = '{day}' WHERE number = '{reversal}'"),
    "a day that is not its time's": ("I8", False, f"UPDATE custody_operation SET day = day - 1 WHERE {LATER}"),
    "a close put before what it closed": (
        "I8", False, "UPDATE custody_period SET closed_at = '{month}' WHERE closed_at IS NOT NULL"),
    # I9
    "the amount of a parcel bought": ("I9", False, "UPDATE custody_purchaseline SET amount = amount + 1"),
    "what was paid at the counter": ("I9", False, "UPDATE custody_purchase SET total = total - 1"),
    "a parcel bought by another weight": ("I9", False, "UPDATE custody_purchaseline SET net_mg = net_mg + 1"),
    "a slip entered and spoiled": (
        "I9", False, "INSERT INTO custody_spoiledslip (slip_id, reason, at, by_id) SELECT slip_id, 'x', now(), 1"
        " FROM custody_delivery WHERE slip_id IS NOT NULL"),
    "the amount of a settlement": (
        "I9", False, "UPDATE custody_settlementline SET amount = amount + 1 WHERE amount > 0"),
    "what is payable": (
        "I9", False, "UPDATE custody_settlementline SET payable_mg = payable_mg - 1, retained_mg = retained_mg + 1"
        " WHERE payable_mg > 0"),
    "a settlement's line gone": ("I9", False, "DELETE FROM custody_settlementline WHERE amount > 0"),
    "a settlement gone": ("I9", False, "DELETE FROM custody_settlement WHERE corrects_id IS NULL"),
    "two standing settlements": (
        "I9", False, "UPDATE custody_settlement SET corrects_id = NULL, reason = '' WHERE corrects_id IS NOT NULL"),
    "the charge of a settlement": ("I9", False, "UPDATE custody_settlementcharge SET amount = amount + 1"),
    "an account's balance": ("I9", False, "UPDATE custody_metalaccount SET balance_mg = balance_mg + 1"),
    "an account's entry": ("I9", False, "UPDATE custody_accountentry SET mg = mg - 1"),
    "an account's entry gone": ("I9", False, "DELETE FROM custody_accountentry"),
    # I10
    "the hash of a document": ("I10", False, "UPDATE custody_document SET sha256 = repeat('0', 64)"),
    "the size of a document": ("I10", False, "UPDATE custody_document SET size = size + 1"),
    "the hash of an attachment": ("I10", False, "UPDATE custody_attachment SET sha256 = repeat('0', 64)"),
    "the size of an attachment": ("I10", False, "UPDATE custody_attachment SET size = size + 1"),
    "an attachment of another receipt's parcel": (
        "I10", False, "UPDATE custody_attachment SET lot_id = (SELECT id FROM custody_lot WHERE number = '{held}')"),
    # I12
    "metal poured away without a discharge": (
        "I12", True,
        f"UPDATE custody_movement SET what = 'effluent' WHERE operation_id = {MELT} AND side = 'loss'"
        " AND what = 'fume'",
    ),
    "an assay accepted by its recorder": (
        "I12", False, "UPDATE custody_acceptance a SET by_id = d.by_id FROM custody_determination d"
        " WHERE d.id = a.determination_id"),
    "a determination gone": (
        "I12", False, "DELETE FROM custody_determination WHERE id = (SELECT min(id) FROM custody_determination)"),
    "a fineness after its acceptance": ("I12", False, "UPDATE custody_determination SET au_ppm = au_ppm - 1000"),
    "a countersignature by oneself": (
        "I12", True, "ALTER TABLE custody_operation DROP CONSTRAINT countersigned_by_another;"
        " UPDATE custody_operation SET countersigned_by_id = by_id WHERE countersigned_by_id IS NOT NULL"),
    "a countersignature taken away": (
        "I12", True, "ALTER TABLE custody_operation DROP CONSTRAINT over_tolerance_countersigned;"
        " UPDATE custody_operation SET countersigned_by_id = NULL, countersigned_at = NULL, countersign_meaning = ''"),
    "a doubtful price said to be sure": (
        "I12", False, "UPDATE custody_price SET doubtful = false WHERE doubtful"),
    "what a price came to": ("I12", False, "UPDATE custody_price SET amount = 2050 WHERE doubtful"),
    "what a price was judged against": (
        "I12", False, "UPDATE custody_price SET before_id = NULL, doubtful = false WHERE doubtful"),
    "the limit of a price": ("I12", False, "UPDATE custody_price SET limit_ppm = 900000"),
    "a price moved to another day": ("I12", False, "UPDATE custody_price SET day = day - 9 WHERE replaces_id > 0"),
    "a price confirmed by who entered it": (
        "I12", False, "UPDATE custody_priceconfirmation SET by_id = (SELECT by_id FROM custody_price"
        " WHERE id = price_id)"),
    "a settlement approved by who prepared it": (
        "I12", False, "ALTER TABLE custody_settlement DROP CONSTRAINT approved_by_another;"
        " UPDATE custody_settlement SET approved_by_id = prepared_by_id"),
    "what a litre held": (
        "I12", False, "UPDATE custody_solutionfigure SET ug_l = ug_l + 1000000 WHERE substance = 'Au'"),
    "the volume of a solution": ("I12", False, "UPDATE custody_solutionassay SET volume_ml = volume_ml + 1"),
    "an assay accepted by who recorded it": (
        "I12", False, "UPDATE custody_solutionassay s SET by_id = a.by_id FROM custody_solutionacceptance a"
        " WHERE a.assay_id = s.id"),
    "water said to be a difference": (
        "I12", True, "UPDATE custody_movement SET what = 'measurement difference' WHERE side = 'loss'"
        " AND operation_id IN (SELECT id FROM custody_operation WHERE kind = 'discharge')"),
    "water past its permit": ("I12", False, "UPDATE custody_effluentlimit SET most = 99 WHERE substance = 'Ag'"),
    "water whose acidity was never measured": ("I12", False, "UPDATE custody_solutionassay SET ph_centi = NULL"),
    "water that left unassayed": (
        "I12", False, "DELETE FROM custody_solutionacceptance WHERE assay_id = (SELECT max(id) FROM"
        " custody_solutionassay)"),
}  # fmt: skip
