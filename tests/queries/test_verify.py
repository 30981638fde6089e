"""An examination finds every kind of damage that a superuser can do with the triggers off, and nothing in a sound book.

A damage with ``resealed`` also rewrites the canonical bytes and the SHA-256 of the operations that it touches, as a
careful forger would: what is found then is found by replaying the book.
"""

import json
from io import StringIO

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from custody.models import Attachment, Document
from custody.queries import attachments, papers
from custody.queries.verify import verify
from custody.queries.verify.findings import PROMISES
from refinery import embedded, roles
from tests.queries.damages import DAMAGES

RESEAL = (
    "UPDATE custody_operation o SET canonical = custody_canonical(o),"
    " sha256 = sha256(convert_to(custody_canonical(o), 'UTF8')) WHERE canonical <> custody_canonical(o)"
)


@pytest.fixture
def superuser(book):
    """Django's own connection as the superuser, who may pass every trigger."""
    connection.close()
    application = connection.settings_dict["USER"]
    connection.settings_dict["USER"] = embedded.SUPERUSER
    yield
    connection.close()
    connection.settings_dict["USER"] = application


def examined(*statements):
    """The findings after these statements, which are taken back; the examination itself runs as the application."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        touched = []
        for statement in statements:
            cursor.execute(statement)
            touched.append(cursor.rowcount)
        cursor.execute(f"SET LOCAL ROLE {roles.APP}")
        findings = verify()
        transaction.set_rollback(True)
    return findings, touched


def landmarks(book):
    return {
        "melt": book.melt.number, "pool": book.pool.number, "split": book.split.number, "held": book.held.number,
        "reversal": book.reversal.number, "receipt": book.receipt.number, "month": book.month.isoformat(),
        "day": f"{book.month:%Y-%m-%d}",
    }  # fmt: skip


@pytest.mark.parametrize(("invariant", "resealed", "sql"), DAMAGES.values(), ids=DAMAGES.keys())
def test_damage_is_found(superuser, book, invariant, resealed, sql):
    for name, value in landmarks(book).items():
        sql = sql.replace(f"{{{name}}}", value)
    statements = [part for part in sql.replace("{{", "{").replace("}}", "}").split(";") if part.strip()]
    findings, touched = examined(*statements, *([RESEAL] if resealed else []))
    assert 0 not in touched, "a damage that touched nothing proves nothing"
    assert not findings[invariant].holds, {name: check.rows[:3] for name, check in findings.checks.items()}
    row = findings[invariant].rows[0]
    assert row["where"]
    assert row["what"]


#: How a forger changes one figure of one row.
CHANGES = {
    "bigint": "{0} + 1",
    "integer": "{0} + 1",
    "smallint": "{0} + 1",
    "boolean": "NOT {0}",
    "character varying": "left({0}, 5) || 'x'",
    "text": "{0} || 'x'",
    "timestamp with time zone": "{0} + interval '1 hour'",
    "date": "{0} + 1",
    "bytea": "{0} || '\\x00'::bytea",
}
BOOK = (
    "operation", "movement", "lot", "vector", "origin", "originreceipt", "bar", "run", "accountentry", "metalaccount",
    "handover",
)  # fmt: skip
#: What no second record speaks of: names of rows, a request's fingerprint, what was said at a handover.
UNSPOKEN = {
    "operation.request_sha256", "originreceipt.id", "vector.id", "handover.id", "handover.note",
    "run.number", "run.step", "bar.id", "accountentry.at", "accountentry.id", "accountentry.receipt_id",
}  # fmt: skip


@pytest.mark.parametrize("table", BOOK)
def test_no_figure_of_the_book_is_missed(superuser, table):
    """One row of every table, column by column: a change is refused by a constraint, or found."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT column_name, data_type FROM information_schema.columns WHERE table_name = %s", [f"custody_{table}"]
        )
        columns = [(name, CHANGES[kind]) for name, kind in cursor.fetchall() if kind in CHANGES]
    unseen = set()
    for name, change in columns:
        row = f"(SELECT max(ctid) FROM custody_{table} WHERE {name} IS NOT NULL)"
        try:
            findings, _ = examined(f"UPDATE custody_{table} SET {name} = {change.format(name)} WHERE ctid = {row}")
        except DatabaseError:
            continue
        if findings.ok and row_exists(table, name):
            unseen.add(f"{table}.{name}")
    assert unseen <= UNSPOKEN


def row_exists(table, name):
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT EXISTS (SELECT FROM custody_{table} WHERE {name} IS NOT NULL)")
        return cursor.fetchone()[0]


def test_nothing_is_found_in_a_sound_book(superuser, book):
    findings, _ = examined(RESEAL)
    assert findings.ok, [c for c in findings.as_document()["checks"] if not c["holds"]]
    assert all(findings[name].checked for name in PROMISES if name != "I11")


def test_every_invariant_is_damaged():
    assert {invariant for invariant, _, _ in DAMAGES.values()} == set(PROMISES) - {"I11"}
    assert len(DAMAGES) > 20


@pytest.mark.parametrize(
    ("model", "where", "was"),
    [(Document, papers.path_of, "issued"), (Attachment, attachments.path_of, "attached")],
)
def test_a_file_that_was_altered_or_lost(book, model, where, was):
    path = where(model.objects.get().sha256)
    content = path.read_bytes()
    try:
        path.write_bytes(content + b" ")
        assert [row["what"] for row in verify()["I10"].rows] == [f"the file is not the one that was {was}"]
        path.unlink()
        assert [row["what"] for row in verify()["I10"].rows] == ["the file is missing"]
    finally:
        path.write_bytes(content)
    assert verify().ok


def test_the_command_says_it_in_words_and_as_a_document(book):
    words, document = StringIO(), StringIO()
    call_command("verify", stdout=words)
    call_command("verify", "--json", stdout=document)
    assert all(line.split()[1] == "holds" for line in words.getvalue().splitlines())
    found = json.loads(document.getvalue())
    assert found["ok"] is True
    assert [check["invariant"] for check in found["checks"]] == [f"I{number}" for number in range(1, 13)]


def test_the_command_ends_with_1_and_the_offending_rows(book, superuser):
    words, document = StringIO(), StringIO()
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET LOCAL session_replication_role = replica")
        cursor.execute("UPDATE custody_lot SET gross_mg = gross_mg + 1 WHERE number = 'OLD-C'")
        cursor.execute(f"SET LOCAL ROLE {roles.APP}")
        with pytest.raises(SystemExit) as ended:
            call_command("verify", stdout=words)
        with pytest.raises(SystemExit):
            call_command("verify", "--json", stdout=document)
        transaction.set_rollback(True)
    assert ended.value.code == 1
    assert "I2   BROKEN" in words.getvalue()
    found = json.loads(document.getvalue())
    (broken,) = (check for check in found["checks"] if not check["holds"])
    assert found["ok"] is False
    assert broken["rows"] == [
        {"where": "lot OLD-C", "what": "the book is what its movements make it", "too_much_mg": {"gross": 1}}
    ]
