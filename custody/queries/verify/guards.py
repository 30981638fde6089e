"""I3: the guards that PostgreSQL keeps (triggers, constraints) and the rights that the application has not."""

from django.apps import apps

from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows

#: Every trigger that keeps a promise, by table; custody/sql lays them.
TRIGGERS = {
    "operation": {"balanced", "origin_conserved", "day_is_open", "append_only"},
    "movement": {"sealed", "append_only"},
    "vector": {"sealed", "append_only"},
    "lot": {"is_what_it_is", "append_only"},
    "bar": {"replaces", "for_ever", "append_only"},
    "period": {"stays_closed", "append_only"},
    "acceptance": {"by_another", "append_only"},
    "run": {"current_ends", "append_only"},
    "metalaccount": {"append_only"},
    "parcel": {"append_only"},
    "origin": {"append_only"},
    "originreceipt": {"append_only"},
    "weighing": {"append_only"},
    "scale": {"append_only"},
    "referenceweight": {"append_only"},
    "proofmetal": {"stays", "append_only"},
    "apitoken": {"append_only"},
    "scalecheck": {"append_only"},
    "scalecheckload": {"append_only"},
    "scalereading": {"append_only"},
    "delivery": {"append_only"},
    "slip": {"append_only"},
    "spoiledslip": {"append_only"},
    "refusedparcel": {"append_only"},
    "purchase": {"append_only"},
    "purchaseline": {"append_only"},
    "collection": {"is_weighed", "append_only"},
    "amendment": {"append_only"},
    "attachment": {"append_only"},
    "sample": {"append_only"},
    "sampleseal": {"append_only"},
    "worksheet": {"append_only"},
    "worksheetpiece": {"append_only"},
    "worksheetimport": {"append_only"},
    "worksheetreading": {"on_a_checked_balance", "append_only"},
    "repeatorder": {"append_only"},
    "indication": {"append_only"},
    "exchangeterms": {"append_only"},
    "exchange": {"as_agreed", "append_only"},
    "sealedresult": {"append_only"},
    "plantsettings": {"append_only"},
    "routeorder": {"append_only"},
    "routeorderlot": {"append_only"},
    "routeorderwork": {"append_only"},
    "effluentlimit": {"append_only"},
    "solutionassay": {"append_only"},
    "solutionfigure": {"told", "append_only"},
    "solutionacceptance": {"append_only"},
    "cellreading": {"apart", "append_only"},
    "bartype": {"stays", "append_only"},
    "serialrange": {"apart", "append_only"},
    "serialevent": {"is_free", "append_only"},
    "box": {"append_only"},
    "boxbar": {"append_only"},
    "boxopening": {"append_only"},
    "vaultaccess": {"append_only"},
    "vaultclosing": {"append_only"},
    "stockcount": {"append_only"},
    "stockcountline": {"append_only"},
    "stockcountstray": {"append_only"},
    "placechange": {"append_only"},
    "place": {"append_only"},
    "priceimport": {"append_only"},
    "price": {"judged", "append_only"},
    "priceconfirmation": {"by_another", "append_only"},
    "pricelimit": {"ahead", "append_only"},
    "determination": {"append_only"},
    "handover": {"of_a_whole_box", "append_only"},
    "clearanceevent": {"append_only"},
    "document": {"append_only"},
    "terms": {"append_only"},
    "accountentry": {"append_only"},
    "settlement": {"append_only"},
    "settlementline": {"append_only"},
    "settlementcharge": {"append_only"},
}
#: Triggers whose names do not begin with their table's.
NAMED = {"weighing": {"weighing_on_a_checked_scale"}, "scale": {"scale_plate"}, "spoiledslip": {"slip_ends_once"}}
CONSTRAINTS = {
    "overdraw", "metals_over_gross", "unvalued_has_no_metal", "unbroken_custody", "movement_metals_over_gross",
    "movement_has_a_side", "countersigned_by_another", "countersigned_in_words", "over_tolerance_countersigned",
    "approved_by_another", "account_never_negative", "settled_once_and_whole", "net_is_gross_less_tare",
    "fineness_within_whole", "one_line", "one_chunk", "operation_number", "lot_number",
    "one_line_per_metal", "one_metal_account", "correction_says_why", "approved_in_words",
    "weighed_or_says_why_not", "difference_explained", "handover_weighed_or_not", "not_weighed_for_a_known_reason",
    "not_weighed_countersigned", "handover_countersigned_by_another", "handover_signed_by_both", "seen_or_not_found",
    "not_found_stays", "one_result_per_side", "reading_not_negative",
    "exchange_named", "splitting_limits", "umpire_rule", "umpire_is_a_third",
    "one_report_of_a_lot", "one_repeat_order", "repeat_order_of_something", "one_piece_per_position",
    "piece_is_of_a_lot_or_a_proof", "one_import_of_a_file", "scale_has_a_plate", "one_attachment",
    "route_of_something", "own_route_says_why", "one_line_per_lot",
    "limit_of_something", "solution_of_something", "one_figure_per_substance",
    "figure_not_negative", "current_over_a_time", "replaced_with_a_reason", "bar_type_weighs_something",
    "range_of_serials", "once_in_a_box",
    "vault_opened_by_two", "counted_by_two", "counted_once",
    "price_of_something", "price_replaced_with_a_reason", "price_confirmed_in_words", "price_limit_of_something",
}  # fmt: skip
UNIQUE_INDEXES = {"unique_uncancelled_bar", "one_content_per_vessel", "one_request", "one_handover", "one_first_price"}
#: What the application may call that writes with the owner's rights, without the house's prefix.
WRITING_FUNCTIONS = {
    "post", "hand_over", "clear", "close_period", "issue_settlement", "check_scale", "amend", "seal_result",
    "pack_box", "open_box", "open_vault", "close_vault", "count_stock", "change_place",
}  # fmt: skip
#: What reads the sealed results with the owner's rights, and gives them only when both sides' are in.
OPENING_FUNCTIONS = {"opened", "exchange_outcome"}
WRITING = ("INSERT", "UPDATE", "DELETE", "TRUNCATE")


def check(found: Check) -> None:
    """Notes a guard that is missing or off, and a right to write that nobody should have."""
    _triggers(found)
    _constraints(found)
    _table_rights(found)
    _sealed(found)
    _functions(found)


def _triggers(found: Check) -> None:
    standing = {
        name: (enabled, table)
        for name, enabled, table in rows(
            "SELECT tgname, tgenabled, tgrelid::regclass::text FROM pg_trigger WHERE NOT tgisinternal"
        )
    }
    guards = {
        table: {f"{table}_{name}" for name in names} | NAMED.get(table, set()) for table, names in TRIGGERS.items()
    }
    for table, names in guards.items():
        for trigger in sorted(names):
            found.checked += 1
            enabled, on = standing.get(trigger, (None, None))
            if on != f"custody_{table}":
                found.breach(f"custody_{table}", f"trigger {trigger} is missing")
            elif enabled not in ("O", "A"):
                found.breach(f"custody_{table}", f"trigger {trigger} is off", tgenabled=enabled)
    for table, name in rows(
        "SELECT tgrelid::regclass::text, tgname FROM pg_trigger WHERE tgisinternal AND tgenabled NOT IN ('O', 'A')"
        " AND starts_with(tgrelid::regclass::text, 'custody_')"
    ):
        found.breach(table, f"the foreign key's trigger {name} is off")


def _constraints(found: Check) -> None:
    standing = {name for (name,) in rows("SELECT conname FROM pg_constraint WHERE convalidated AND conenforced")}
    indexes = {
        name
        for (name,) in rows(
            "SELECT indexrelid::regclass::text FROM pg_index WHERE indisunique AND indisvalid AND indislive"
        )
    }
    for name in sorted(CONSTRAINTS - standing):
        found.breach(name, "this constraint is missing or not enforced")
    for name in sorted(UNIQUE_INDEXES - indexes):
        found.breach(name, "this unique index is missing")
    found.checked += len(CONSTRAINTS) + len(UNIQUE_INDEXES)


def _allowed() -> dict[str, set[str]]:
    """What may be written on the tables that are append-only, by anybody but their owner."""
    return {
        model._meta.db_table: set() if getattr(model, "ledger", False) else set(model.writable)
        for model in apps.get_app_config("custody").get_models()
        if getattr(model, "ledger", False) or hasattr(model, "writable")
    }


def _table_rights(found: Check) -> None:
    """Rights given to anybody but the owner, on a table or on a single column, and those of the reader itself."""
    given = rows(
        "SELECT c.relname, a.privilege_type, coalesce(r.rolname, 'everybody') FROM pg_class c,"
        " aclexplode(c.relacl) a LEFT JOIN pg_roles r ON r.oid = a.grantee WHERE a.grantee <> c.relowner"
        " UNION ALL SELECT c.relname, a.privilege_type, coalesce(r.rolname, 'everybody') FROM pg_class c"
        " JOIN pg_attribute t ON t.attrelid = c.oid, aclexplode(t.attacl) a LEFT JOIN pg_roles r ON r.oid = a.grantee"
        " WHERE a.grantee <> c.relowner"
    )
    for table, allowed in _allowed().items():
        found.checked += 1
        for of_table, right, role in given:
            if of_table == table and right in WRITING and right not in allowed:
                found.breach(table, f"{role} has the right to {right}")
        for right in WRITING:
            (may,) = rows("SELECT has_table_privilege(%s, %s)", [table, right])[0]
            if may and right not in allowed:
                found.breach(table, f"the application may {right}")


def _sealed(found: Check) -> None:
    """What is sealed, the application may not read: neither the table nor a column of it."""
    for model in apps.get_app_config("custody").get_models():
        if getattr(model, "sealed", False):
            found.checked += 1
            table = model._meta.db_table
            if rows("SELECT has_any_column_privilege(%s, 'SELECT')", [table])[0][0]:
                found.breach(table, "the application may read what is sealed")


def _functions(found: Check) -> None:
    callable_ones = rows(
        "SELECT p.proname FROM pg_proc p JOIN pg_namespace n ON n.oid = p.pronamespace"
        " WHERE n.nspname = 'public' AND p.prosecdef AND has_function_privilege(p.oid, 'EXECUTE')"
    )
    for (name,) in callable_ones:
        found.checked += 1
        if name.removeprefix("custody_") not in WRITING_FUNCTIONS | OPENING_FUNCTIONS:
            found.breach(name, "the application may call a function that writes with the owner's rights")
