"""Only actions/ write to the database, through the ORM, in SQL, or by the database's own writing functions."""

import ast
import re
from pathlib import Path

import pytest

from tests.architecture.tree import breaches, files, parsed, room, strings, text

WRITERS = {"actions", "migrations", "sql"}
MANAGER_VERBS = {"create", "bulk_create", "bulk_update", "get_or_create", "update_or_create", "delete"}
ASYNC_VERBS = {f"a{verb}" for verb in MANAGER_VERBS | {"save", "update"}}
WRITING_SQL = re.compile(
    r"\b(INSERT\s+INTO|DELETE\s+FROM|TRUNCATE\s+(?!ON\b)\w+|MERGE\s+INTO|UPDATE\s+(ONLY\s+)?[\w\".{}]+\s+SET|COPY\s+\S+\s+FROM)\b",
    re.IGNORECASE,
)


def is_write(call: ast.Call) -> bool:
    """A call that writes through the ORM.

    `file.save(path)` and `digest.update(data)` are told from `row.save()` and `rows.update(held=True)` by their
    positional argument; write a change to a dict as `|=`.
    """
    if not isinstance(call.func, ast.Attribute):
        return False
    verb = call.func.attr.removeprefix("a") if call.func.attr in ASYNC_VERBS else call.func.attr
    if verb == "save":
        return not call.args
    if verb == "update":
        return bool(call.keywords)
    return verb in MANAGER_VERBS


def writing_functions(sql: str) -> set[str]:
    """Functions that act with the owner's rights: whatever may be written to the ledger, they write."""
    return {
        statement.split("(")[0].strip()
        for statement in re.split(r"\bCREATE\s+(?:OR\s+REPLACE\s+)?FUNCTION\b", sql)[1:]
        if "SECURITY DEFINER" in statement
    }


def owner_calls(names: set[str]):
    def rule(path: Path, source: str) -> list[str]:
        if room(path) in WRITERS or not names:
            return []
        called = re.compile(rf"\b({'|'.join(sorted(names))})\b")
        return [
            f"{line}: {hit[0]} is called outside actions/"
            for line, string in strings(parsed(source))
            for hit in called.finditer(string)
        ]

    return rule


def writes(path: Path, source: str) -> list[str]:
    if room(path) in WRITERS:
        return []
    module = parsed(source)
    calls = [
        f"{node.lineno}: .{node.func.attr}() writes outside actions/"
        for node in ast.walk(module)
        if isinstance(node, ast.Call) and is_write(node)
    ]
    statements = [
        f"{line}: writing SQL outside actions/" for line, string in strings(module) if WRITING_SQL.search(string)
    ]
    return calls + statements


def test_only_actions_write():
    assert not breaches(writes, files(".py", under="custody"))


def test_only_actions_call_writing_functions():
    names = set().union(*(writing_functions(text(path)) for path in files(".sql", under="custody/sql")))
    assert not breaches(owner_calls(names), files(".py", under="custody"))


@pytest.mark.parametrize(
    "line",
    [
        "lot.save()",
        "form.save(commit=False)",
        "lot.save(update_fields=['held'])",
        "Lot.objects.create(number='L-1')",
        "Lot.objects.bulk_create(lots)",
        "Lot.objects.filter(held=True).update(held=False)",
        "Lot.objects.get_or_create(number='L-1')",
        "lot.delete()",
        "await lot.asave()",
        "await Lot.objects.acreate()",
        "cursor.execute('INSERT INTO custody_lot (number) VALUES (%s)', [number])",
        "cursor.execute('''\n    update custody_lot set held = true''')",
        "cursor.execute(f'UPDATE {table} SET held = true')",
        "cursor.execute('WITH gone AS (DELETE FROM custody_lot RETURNING id) SELECT * FROM gone')",
        "cursor.execute('TRUNCATE custody_lot')",
    ],
)
def test_a_write_outside_actions_is_found(line):
    source = "async def view():\n    " + line
    assert len(writes(Path("custody/staff/lots.py"), source)) == 1
    assert writes(Path("custody/actions/hold.py"), source) == []


@pytest.mark.parametrize(
    "line",
    [
        "digest.update(data)",
        "picture.save(buffer, kind='svg')",
        "cursor.execute('SELECT updated FROM custody_lot FOR UPDATE')",
        "title = 'Update the settings'",
    ],
)
def test_what_only_looks_like_a_write_is_free(line):
    assert writes(Path("custody/documents/receipt.py"), line) == []


def test_a_writing_function_called_outside_actions_is_found():
    sql = "CREATE FUNCTION read_it() RETURNS int\nAS $$ $$;\nCREATE FUNCTION post_it(a int)\nSECURITY DEFINER AS $$ $$;"
    assert writing_functions(sql) == {"post_it"}
    rule = owner_calls({"post_it"})
    assert len(rule(Path("custody/staff/lots.py"), "cursor.execute('SELECT post_it(1)')")) == 1
    assert rule(Path("custody/actions/_post.py"), "cursor.execute('SELECT post_it(1)')") == []
    assert rule(Path("custody/queries/lots.py"), "cursor.execute('SELECT read_it(), repost_it')") == []
