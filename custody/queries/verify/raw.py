"""The book's raw rows, read in the order in which they were recorded, some hundred operations at a time.

The order is that of an operation's first movement: movements are numbered after the operation has locked its lots, so
that this order agrees with every lot's own.
"""

from collections import defaultdict, deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, NamedTuple

from django.db import connection, transaction

BATCH = 500


class Head(NamedTuple):
    """An operation without its lines."""

    id: int
    number: str
    kind: str
    at: datetime
    day: date
    recorded_at: datetime
    by: int
    source: str
    party: int | None
    place: int | None
    run: int | None
    reason: str
    about: date | None
    basis: str
    delivered_by: str
    reverses: int | None
    acceptance: int | None
    over_tolerance: bool
    countersigned_by: int | None
    countersigned_at: datetime | None
    countersign_meaning: str
    movement_count: int
    canonical: str
    sha256: bytes


class Line(NamedTuple):
    """One movement; ``amounts`` are gross and the five metals in milligrams, ``codes`` its bits by column."""

    id: int
    operation: int
    line: int
    side: str
    lot: int | None
    what: str
    words: str
    amounts: tuple[int, ...]
    valued: bool
    whole: bool
    custodian: int | None
    place: int | None
    content_before: int | None
    spread: int
    origin: int | None
    codes: list[str | None] | None


class Made(NamedTuple):
    """What never changes of a lot: its number, form and making; of a parcel what was declared, of a bar its stamp."""

    id: int
    number: str
    form: str
    created_by: int
    receipt: int | None
    declared_origin: str
    owner: int | None
    pooled: bool
    custody_model: str
    run: int | None
    declared: str | None
    stamp: str | None


class Passed(NamedTuple):
    """One handover."""

    id: int
    lot: int
    at: datetime
    from_person: int
    to_person: int
    from_place: int
    to_place: int
    book_mg: int


class Vector(NamedTuple):
    """Origins, ascending, and the milligrams of each."""

    origins: list[int]
    mgs: list[int]


@dataclass(slots=True)
class Entry:
    """One operation with everything that was recorded by it. ``head`` is missing where the row is gone."""

    id: int
    head: Head | None = None
    lines: list[Line] = field(default_factory=list)
    vectors: dict[tuple[int, int], Vector] = field(default_factory=dict)
    broken_vectors: list[str] = field(default_factory=list)
    edges: set[tuple[int, int]] = field(default_factory=set)
    origins: list[tuple[int, str, int | None]] = field(default_factory=list)
    receipts: dict[int, list[int]] = field(default_factory=dict)
    made: dict[int, Made] = field(default_factory=dict)
    passed: dict[int, deque[Passed]] = field(default_factory=dict)
    cleared: dict[int, list[tuple[datetime, str]]] = field(default_factory=dict)


@contextmanager
def one_snapshot() -> Iterator[None]:
    """Everything is read as of one instant, while others go on recording. A caller's own transaction is kept."""
    if connection.in_atomic_block:
        yield
        return
    with transaction.atomic():
        rows("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


def rows(query: str, parameters: list[Any] | None = None) -> list[tuple]:
    """All rows of a query."""
    with connection.cursor() as cursor:
        cursor.execute(query, parameters)
        return cursor.fetchall() if cursor.description else []


def stream(query: str, size: int = 5000) -> Iterator[tuple]:
    """The rows of a query whose first column is a unique number, read piece by piece."""
    after = -1
    while piece := rows(f"SELECT * FROM ({query}) q WHERE id > %s ORDER BY id LIMIT {size}", [after]):
        yield from piece
        after = piece[-1][0]


def entries() -> Iterator[Entry]:
    """Every operation of the book in the order recorded; those without a movement come last."""
    order = [
        entry
        for (entry,) in rows(
            "SELECT coalesce(o.id, m.operation_id) FROM custody_operation o FULL JOIN (SELECT operation_id,"
            " min(id) AS first FROM custody_movement GROUP BY 1) m ON m.operation_id = o.id ORDER BY m.first, o.id"
        )
    ]
    for start in range(0, len(order), BATCH):
        yield from _read(order[start : start + BATCH])


_HEADS = """
SELECT id, number, kind, at, day, recorded_at, by_id, source, party_id, place_id, run_id, reason, about, basis,
       delivered_by, reverses_id, acceptance_id, over_tolerance, countersigned_by_id, countersigned_at,
       countersign_meaning, movement_count, canonical, sha256
  FROM custody_operation WHERE id = ANY (%s)
"""
_LINES = """
SELECT id, operation_id, line, side, lot_id, what, words, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg, valued, whole,
       custodian_id, place_id, content_before, spread, origin_id, codes::text[]
  FROM custody_movement WHERE operation_id = ANY (%s) ORDER BY operation_id, line
"""
_VECTORS = """
SELECT v.operation_id, v.line, v.column_no, v.chunk, v.total_mg, v.origins, v.mgs,
       v.passing = coalesce(v.line = 0 AND o.kind = 'charge' OR m.spread = 2 AND l.form = 'in process', false)
  FROM custody_vector v LEFT JOIN custody_operation o ON o.id = v.operation_id
  LEFT JOIN custody_movement m ON m.operation_id = v.operation_id AND m.line = v.line
  LEFT JOIN custody_lot l ON l.id = m.lot_id
 WHERE v.operation_id = ANY (%s) ORDER BY 1, 2, 3, 4
"""
_MADE = """
SELECT l.id, l.number, l.form, l.created_by_id, l.receipt_id, l.declared_origin, l.owner_id, l.pooled, l.custody_model,
       l.run_id, CASE WHEN p.lot_id IS NOT NULL THEN concat_ws('|', p.category, p.country, p.mine) END,
       b.mark || ' ' || b.serial || ' ' || b.year
  FROM custody_lot l LEFT JOIN custody_parcel p ON p.lot_id = l.id LEFT JOIN custody_bar b ON b.lot_id = l.id
 WHERE l.created_by_id = ANY (%s)
"""
_PASSED = """
SELECT h.id, h.lot_id, h.at, h.from_person_id, h.to_person_id, h.from_place_id, h.to_place_id, h.book_mg
  FROM custody_handover h JOIN custody_lot l ON l.id = h.lot_id WHERE l.created_by_id = ANY (%s) ORDER BY h.id
"""
_CLEARED = """
SELECT e.lot_id, e.at, e.clearance FROM custody_clearanceevent e JOIN custody_lot l ON l.id = e.lot_id
 WHERE l.created_by_id = ANY (%s) ORDER BY e.at, e.id
"""
_RECEIPTS = """
SELECT operation_id, origin_id, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg
  FROM custody_originreceipt WHERE operation_id = ANY (%s)
"""


def _read(ids: list[int]) -> Iterator[Entry]:
    batch = {entry: Entry(entry) for entry in ids}
    for row in rows(_HEADS, [ids]):
        head = Head(*row[:-1], bytes(row[-1]))
        batch[head.id].head = head
    for row in rows(_LINES, [ids]):
        line = Line(*row[:7], row[7:13], *row[13:])
        batch[line.operation].lines.append(line)
    _read_vectors(batch, ids)
    for operation, parent, child in rows(
        "SELECT operation_id, parent_id, child_id FROM custody_edge WHERE operation_id = ANY (%s)", [ids]
    ):
        batch[operation].edges.add((parent, child))
    for operation, *origin in rows(
        "SELECT operation_id, id, kind, lot_id FROM custody_origin WHERE operation_id = ANY (%s) ORDER BY id", [ids]
    ):
        batch[operation].origins.append(tuple(origin))
    for operation, origin, *amounts in rows(_RECEIPTS, [ids]):
        sums = batch[operation].receipts.setdefault(origin, [0] * 6)
        batch[operation].receipts[origin] = [before + now for before, now in zip(sums, amounts, strict=True)]
    _read_lots(batch, ids)
    yield from batch.values()


def _read_vectors(batch: dict[int, Entry], ids: list[int]) -> None:
    chunks = defaultdict(list)
    for operation, line, column, *chunk in rows(_VECTORS, [ids]):
        chunks[operation, line, column].append(chunk)
    for (operation, line, column), found in chunks.items():
        origins = [origin for _, _, some, *_ in found for origin in some]
        mgs = [mg for _, _, _, some, _ in found for mg in some]
        whole = all(
            number == place
            and marked
            and total == sum(mgs)
            and len(some) == len(given)
            and (len(some) == 128 or place == len(found) - 1)
            for place, (number, total, some, given, marked) in enumerate(found)
        )
        if not whole:
            batch[operation].broken_vectors.append(f"line {line} column {column}")
        batch[operation].vectors[line, column] = Vector(origins, mgs)


def _read_lots(batch: dict[int, Entry], ids: list[int]) -> None:
    maker = {}
    for row in rows(_MADE, [ids]):
        made = Made(*row)
        maker[made.id] = batch[made.created_by]
        maker[made.id].made[made.id] = made
    for row in rows(_PASSED, [ids]):
        passed = Passed(*row)
        maker[passed.lot].passed.setdefault(passed.lot, deque()).append(passed)
    for lot, at, clearance in rows(_CLEARED, [ids]):
        maker[lot].cleared.setdefault(lot, []).append((at, clearance))
