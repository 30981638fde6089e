"""The two database roles: what they may not do, whatever the code on top asks for."""

import os
import subprocess

import pytest
from django.apps import apps
from django.contrib.auth.models import Group
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.utils import ProgrammingError

from custody.grants import WRITE_VERBS, writable_verbs
from refinery import embedded, roles
from tests.conftest import HOME

FORBIDDEN = "permission denied|must be owner"


def rows(sql, *parameters):
    with connection.cursor() as cursor:
        cursor.execute(sql, parameters)
        return cursor.fetchall()


def test_the_application_is_neither_superuser_nor_owner(db):
    assert rows("SELECT current_user, usesuper FROM pg_user WHERE usename = current_user") == [(roles.APP, False)]
    assert rows("SELECT relname FROM pg_class WHERE relowner = current_user::regrole") == []
    owners = rows("SELECT DISTINCT tableowner FROM pg_tables WHERE schemaname = 'public'")
    assert owners == [(roles.OWNER,)]
    assert rows("SELECT rolsuper FROM pg_roles WHERE rolname = %s", roles.OWNER) == [(False,)]


@pytest.mark.parametrize(
    "sql",
    [
        "CREATE TABLE shadow (n int)",
        "CREATE TEMPORARY TABLE custody_lot (n int)",
        "CREATE SCHEMA other",
        "CREATE FUNCTION f() RETURNS int LANGUAGE sql AS 'SELECT 1'",
        "ALTER TABLE auth_group DISABLE TRIGGER ALL",
        "DROP TABLE auth_group",
        "TRUNCATE auth_group CASCADE",
        "UPDATE django_migrations SET name = 'x'",
        "INSERT INTO django_content_type (app_label, model) VALUES ('x', 'y')",
        "SET session_replication_role = replica",
        "GRANT custody_owner TO custody_app",
        "SET ROLE custody_owner",
    ],
)
def test_the_application_may_not(db, sql):
    with connection.cursor() as cursor, pytest.raises(ProgrammingError, match=FORBIDDEN):
        cursor.execute(sql)


def test_the_application_reads_every_table_and_truncates_none(db):
    tables = [table for (table,) in rows("SELECT tablename FROM pg_tables WHERE schemaname = 'public'")]
    assert tables
    sealed = {model._meta.db_table for model in apps.get_models() if getattr(model, "sealed", False)}
    assert sealed == {"custody_sealedresult"}
    for table in tables:
        granted = rows(
            "SELECT has_table_privilege(%s, 'SELECT'), has_table_privilege(%s, 'TRUNCATE, REFERENCES, TRIGGER')",
            table,
            table,
        )
        assert (table, granted) == (table, [(table not in sealed, False)])


def test_each_table_may_be_written_as_its_model_says(db):
    for model in apps.get_models(include_auto_created=True):
        table = model._meta.db_table
        granted = {verb for verb in WRITE_VERBS if rows("SELECT has_table_privilege(%s, %s)", table, verb) == [(True,)]}
        assert (table, granted) == (table, writable_verbs(model))


def model_like(label, table, **attributes):
    meta = type("_meta", (), {"app_label": label, "db_table": table, "auto_created": False})
    return type("Model", (), {"_meta": meta, **attributes})


def test_what_a_model_may_say():
    assert writable_verbs(model_like("custody", "custody_party")) == set(WRITE_VERBS)
    assert writable_verbs(model_like("custody", "custody_movement", ledger=True)) == set()
    assert writable_verbs(model_like("custody", "custody_note", writable={"INSERT"})) == {"INSERT"}
    assert writable_verbs(model_like("axes", "axes_accesslog")) == set(WRITE_VERBS)
    assert writable_verbs(model_like("contenttypes", "django_content_type")) == set()
    with pytest.raises(ValueError, match="TRUNCATE"):
        writable_verbs(model_like("custody", "custody_note", writable={"INSERT", "TRUNCATE"}))


def test_a_many_to_many_table_follows_the_model_that_declares_it():
    between = model_like("custody", "custody_movement_causes")
    between._meta.auto_created = model_like("custody", "custody_movement", ledger=True)
    assert writable_verbs(between) == set()


def test_a_migration_takes_back_what_was_granted_by_hand(committed_db, owner_connection):
    owner_connection().execute(f"GRANT TRUNCATE ON auth_group TO {roles.APP}")
    owner_connection().execute(f"REVOKE INSERT ON auth_group FROM {roles.APP}")
    call_command("migrate", verbosity=0)
    Group.objects.create(name="keepers")
    with connection.cursor() as cursor, pytest.raises(ProgrammingError, match=FORBIDDEN):
        cursor.execute("TRUNCATE auth_group CASCADE")


def test_migrations_run_as_the_owner_only(monkeypatch):
    with pytest.raises(CommandError, match="leave --database out"):
        call_command("migrate", database="default")
    monkeypatch.setattr("custody.management.commands.migrate.connections", {"default": connection})
    with pytest.raises(CommandError, match="DATABASE_OWNER_URL"):
        call_command("migrate")


def test_the_script_prepares_a_server_of_your_own_and_may_run_twice(committed_db, connect_as):
    psql = [
        embedded.BIN / "psql",
        "-X",
        "-q",
        "-v",
        "ON_ERROR_STOP=1",
        "-h",
        embedded.socket_folder(HOME),
        "-U",
        "postgres",
    ]
    name = f"{committed_db}_own"
    try:
        for _ in range(2):
            subprocess.run(psql, input=roles.script(name), text=True, check=True, env={**os.environ, "PGPORT": "5432"})
        with embedded.connect(HOME, name, roles.OWNER) as own:
            own.execute("CREATE TABLE book (n int)")
        with embedded.connect(HOME, name, roles.APP) as own:
            assert own.execute("SELECT * FROM book").fetchall() == []
            with pytest.raises(Exception, match=FORBIDDEN):
                own.execute("INSERT INTO book VALUES (1)")
    finally:
        embedded.drop_database(HOME, name)
