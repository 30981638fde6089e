"""A folder of its own for the benchmark, with durable settings, and databases laid out in it.

Nothing of the figures may come from a server that skips its flushes: fsync and synchronous_commit stay on.
"""

import atexit
import os
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

import psycopg

from tests.bench.plant import CELL, parties

LAID_OUT = "laid_out"


@dataclass(frozen=True, slots=True)
class Desk:
    """One writer: a person at a place of their own."""

    by: int
    place: str


def prepare() -> None:
    """Sets the environment, starts PostgreSQL and migrates a database that the others are copies of."""
    os.environ["CUSTODY_HOME"] = tempfile.mkdtemp(prefix="custody-bench-")
    os.environ["DJANGO_SETTINGS_MODULE"] = "refinery.settings"
    for name in ("DATABASE_URL", "DATABASE_OWNER_URL", "CUSTODY_PRODUCTION"):
        os.environ.pop(name, None)
    import django

    django.setup()
    from django.core.management import call_command

    from refinery import embedded

    atexit.register(shutil.rmtree, home(), ignore_errors=True)  # runs last: the server is left before
    embedded.start(home())
    embedded.create_database(home(), LAID_OUT)
    use(LAID_OUT)
    call_command("migrate", verbosity=0, interactive=False)
    use("postgres")


def home() -> Path:
    return Path(os.environ["CUSTODY_HOME"])


def use(database: str) -> None:
    """Points Django's connections to the database."""
    from django.db import connections

    connections.close_all()
    for connection in connections.all():
        connection.settings_dict["NAME"] = database


def lay_out(database: str) -> None:
    """A fresh database with the plan's parties, and Django's connections pointed to it."""
    from refinery import embedded

    use("postgres")
    embedded.drop_database(home(), database)
    embedded.create_database(home(), database, template=LAID_OUT)
    use(database)
    with connect(database) as superuser:
        superuser.cursor().executemany(
            "INSERT INTO custody_party (code, name, country, address, contact, note, version, created_at) "
            "VALUES (%s, %s, %s, '', '', '', 1, now())",
            parties(),
        )


def drop(database: str) -> None:
    from refinery import embedded

    use("postgres")
    embedded.drop_database(home(), database)


def connect(database: str, user: str = "") -> psycopg.Connection:
    """A connection in autocommit mode; as the superuser unless another role is named."""
    from refinery import embedded

    return embedded.connect(home(), database, user or embedded.SUPERUSER)


def desks(database: str, writers: int) -> list[Desk]:
    """So many people, each at a place of their own; the first place also has the plan's cell."""
    made = []
    with connect(database) as superuser:
        for i in range(writers):
            person = superuser.execute(
                "INSERT INTO custody_user (password, is_superuser, username, first_name, last_name, email, is_staff, "
                "is_active, date_joined) VALUES ('', false, %s, '', '', '', false, true, now()) RETURNING id",
                [f"writer-{i}"],
            ).fetchone()[0]
            _place(superuser, f"PLACE-{i}", "furnace")
            made.append(Desk(person, f"PLACE-{i}"))
        _place(superuser, CELL, "vessel")
    return made


def _place(superuser: psycopg.Connection, code: str, kind: str) -> None:
    superuser.execute(
        "INSERT INTO custody_place (code, name, kind, active, two_person) VALUES (%s, %s, %s, true, false)",
        [code, code, kind],
    )
