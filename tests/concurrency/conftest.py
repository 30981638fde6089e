"""Many writers at once: real threads, each with a connection of its own, in a database of its own."""

import json
import threading
from concurrent.futures import ThreadPoolExecutor

import psycopg
import pytest
from psycopg.types.json import Jsonb

from custody.queries.verify import verify
from refinery import roles

#: Nobody waits for ever: a test that would hang fails.
PATIENCE = "20s"


@pytest.fixture
def writers(committed_db, connect_as):
    """writers(calls): runs the calls at the same moment, each on a connection of the application's role.

    A call is (query, parameters); its result what the database answers, or the name of the rule that refused it.
    """

    connections = []

    def run(calls):
        while len(connections) < len(calls):
            connections.append(connect_as(roles.APP))
            connections[-1].execute(f"SET lock_timeout = '{PATIENCE}'")
        start = threading.Barrier(len(calls))

        def ask(connection, call):
            start.wait()
            return outcome(connection, *call)

        with ThreadPoolExecutor(len(calls)) as pool:
            return list(pool.map(ask, connections, calls))

    return run


def outcome(connection, query, parameters):
    """The answer of one call, or the name of the rule (or the code of the error) that refused it."""
    try:
        return connection.execute(query, parameters).fetchone()[0]
    except psycopg.Error as error:
        return error.diag.constraint_name or error.sqlstate


def posting(**request):
    """The call that records one operation."""
    return "SELECT custody_post(%s)", (Jsonb(json.loads(json.dumps(request, default=str))),)


def recorded(results):
    return [result for result in results if isinstance(result, dict) and not result["replayed"]]


def refusals(results):
    return [result for result in results if isinstance(result, str)]


@pytest.fixture
def sound(committed_db):
    """The examination after the race."""
    yield
    findings = verify()
    assert findings.ok, findings.as_document()


@pytest.fixture
def rewritten(committed_db, owner_connection):
    """rewritten(signature, old, new, …): the control: a function of the ledger without its guard."""

    def rewrite(signature, *changes):
        owner = owner_connection()
        text = owner.execute("SELECT pg_get_functiondef(%s::regprocedure)", (signature,)).fetchone()[0]
        for old, new in zip(changes[::2], changes[1::2], strict=True):
            assert old in text
            text = text.replace(old, new)
        owner.execute(text)
        return owner

    return rewrite
