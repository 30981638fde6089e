"""Only actions/ write to the database, and only its _post.py posts operations."""

import ast
import re
from pathlib import Path

import pytest

from tests.architecture.tree import breaches, files, parsed, room, strings

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
