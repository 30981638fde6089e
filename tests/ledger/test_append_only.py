"""I3: nobody changes what was recorded. The application has no right to try, the owner meets a trigger."""

import psycopg
import pytest
from django.apps import apps
from psycopg import sql

from custody.queries.verify.guards import (
    CONSTRAINTS,
    NAMED,
    OPENING_FUNCTIONS,
    TRIGGERS,
    UNIQUE_INDEXES,
    WRITING_FUNCTIONS,
)
from refinery import roles

DENIED = "42501"
KEPT = [
    model
    for model in apps.get_app_config("custody").get_models()
    if model._meta.managed and (getattr(model, "ledger", False) or hasattr(model, "writable"))
]
#: These move on: a lot's book, a bar's end, a run's finish, an account's balance, a month's close, what goes out of
#: use. The rule table is copied from the code at every migration.
MOVES_ON = {
    "custody_lot", "custody_bar", "custody_run", "custody_metalaccount", "custody_period", "custody_rule",
    "custody_scale", "custody_referenceweight", "custody_proofmetal", "custody_apitoken", "custody_bartype",
    "custody_place",
}  # fmt: skip
FOR_EVER = [model for model in KEPT if model._meta.db_table not in MOVES_ON]
NEVER_DELETED = [model for model in KEPT if model._meta.db_table != "custody_rule"]


def statements(model):
    table = sql.Identifier(model._meta.db_table)
    key = sql.Identifier(model._meta.pk.column)
    return {
        "UPDATE": sql.SQL("UPDATE {} SET {} = {}").format(table, key, key),
        "DELETE": sql.SQL("DELETE FROM {}").format(table),
        "TRUNCATE": sql.SQL("TRUNCATE {} CASCADE").format(table),
        "INSERT": sql.SQL("INSERT INTO {} SELECT * FROM {}").format(table, table),
    }


@pytest.mark.parametrize("model", KEPT, ids=lambda model: model.__name__)
def test_the_application_may_not(attack, model):
    allowed = set() if getattr(model, "ledger", False) else set(model.writable)
    for verb, statement in statements(model).items():
        if verb in allowed:
            continue
        with attack(roles.APP) as connection, pytest.raises(psycopg.errors.InsufficientPrivilege) as caught:
            connection.execute(statement)
        assert caught.value.sqlstate == DENIED, verb


@pytest.mark.parametrize("model", FOR_EVER, ids=lambda model: model.__name__)
def test_the_owner_changes_nothing(refused, attack, model):
    with attack(roles.OWNER) as connection:
        count = connection.execute(sql.SQL("SELECT count(*) FROM {}").format(sql.Identifier(model._meta.db_table)))
        assert count.fetchone()[0] > 0, "a table without a row proves nothing"
    assert refused(statements(model)["UPDATE"]) == "append_only"


@pytest.mark.parametrize("model", NEVER_DELETED, ids=lambda model: model.__name__)
def test_the_owner_takes_nothing_away(refused, model):
    assert refused(statements(model)["DELETE"]) == "append_only"


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE custody_lot SET number = number || 'x' WHERE number = 'OLD-A'",
        "UPDATE custody_lot SET form = 'bar' WHERE number = 'OLD-A'",
        "UPDATE custody_lot SET created_by_id = created_by_id + 1 WHERE number = 'OLD-A'",
        "UPDATE custody_lot SET receipt_id = NULL WHERE number = 'OLD-A'",
        "UPDATE custody_period SET closed_at = NULL WHERE closed_at IS NOT NULL",
        "UPDATE custody_period SET closed_at = closed_at + interval '1 day' WHERE closed_at IS NOT NULL",
    ],
)
def test_what_moves_on_keeps_what_it_is(refused, change):
    assert refused(change) == "append_only"


def test_the_application_meets_no_ledger_function_but_the_doors(attack):
    with attack(roles.APP) as connection:
        found = connection.execute(
            "SELECT proname FROM pg_proc WHERE pronamespace = 'public'::regnamespace AND prosecdef"
            " AND has_function_privilege(oid, 'EXECUTE')"
        ).fetchall()
    assert {name.removeprefix("custody_") for (name,) in found} == WRITING_FUNCTIONS | OPENING_FUNCTIONS


@pytest.mark.parametrize(
    "call", ["custody_account_entry(1, 'Au', 5, now(), NULL, NULL, NULL)", "custody_open_day(now())"]
)
def test_the_application_may_not_call_what_is_behind_the_doors(attack, call):
    with attack(roles.APP) as connection, pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute(f"SELECT {call}")


def test_a_temporary_table_cannot_shadow_the_ledger(attack):
    with attack(roles.APP) as connection, pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute("CREATE TEMPORARY TABLE custody_lot (id bigint)")


def test_the_examination_knows_every_guard(attack):
    """What verify looks for is what custody/sql laid: no more, no less."""
    with attack(roles.OWNER) as connection:
        triggers = connection.execute(
            "SELECT tgrelid::regclass::text, tgname FROM pg_trigger WHERE NOT tgisinternal"
        ).fetchall()
        checks = connection.execute(
            "SELECT conname FROM pg_constraint WHERE conrelid::regclass::text = ANY (%s) AND contype IN ('c', 'u')"
            " AND conname !~ '^custody_'",
            ([model._meta.db_table for model in KEPT],),
        ).fetchall()
        indexes = connection.execute(
            "SELECT indexrelid::regclass::text FROM pg_index WHERE indisunique AND indpred IS NOT NULL"
            " AND starts_with(indrelid::regclass::text, 'custody_')"
        ).fetchall()
    assert set(triggers) == {
        (f"custody_{table}", f"{table}_{name}") for table, names in TRIGGERS.items() for name in names
    } | {(f"custody_{table}", name) for table, names in NAMED.items() for name in names}
    assert {name for (name,) in checks} == CONSTRAINTS
    assert {name for (name,) in indexes} == UNIQUE_INDEXES
