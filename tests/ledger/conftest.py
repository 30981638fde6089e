"""One committed book for all attacks of a module; each attack is rolled back."""

from contextlib import contextmanager

import psycopg
import pytest
from django.db import connections

from refinery import embedded, roles
from tests.conftest import HOME, use_database
from tests.ledger.everything import whole_book


@pytest.fixture(scope="module")
def book(django_db_setup, django_db_blocker):
    """A book with a row in every table, in a database of its own."""
    migrated = connections["default"].settings_dict["NAME"]
    copy = f"{migrated}_book"
    connections.close_all()
    embedded.create_database(HOME, copy, template=migrated)
    use_database(copy)
    with django_db_blocker.unblock():
        yield whole_book()
    use_database(migrated)
    embedded.drop_database(HOME, copy)


@pytest.fixture
def attack(book):
    """attack(role): a transaction past the application's code, rolled back at its end."""

    @contextmanager
    def open_as(role):
        with embedded.connect(HOME, connections["default"].settings_dict["NAME"], role) as connection:
            connection.autocommit = False
            try:
                yield connection
            finally:
                connection.rollback()

    return open_as


@pytest.fixture
def refused(attack):
    """refused(statement, …): the rule by which PostgreSQL refuses the owner of the tables; None when it does not."""

    def rule_of(*statements, role=roles.OWNER):
        with attack(role) as connection:
            try:
                for statement in statements:
                    connection.execute(*(statement if isinstance(statement, tuple) else (statement,)))
                connection.execute("SET CONSTRAINTS ALL IMMEDIATE")
            except psycopg.Error as error:
                return error.diag.constraint_name or error.sqlstate
        return None

    return rule_of
