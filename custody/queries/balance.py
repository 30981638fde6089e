"""The balance of a span of local days: what was there, what came, what went and how, what is there.

Opening and closing are reckoned back from what the lots hold now by their own movements since; the rest are the lines
that cross the book's edge. That both agree is I1 for the whole span. A month just over is a short way back, however
long the book.
"""

from dataclasses import dataclass, field
from datetime import date

from django.db import connection

from custody.terms import COLUMNS, Addition, Cause

_MASSES = [f"{column.lower()}_mg" for column in COLUMNS]
_SUMS = ", ".join(f"sum({mass})::bigint" for mass in _MASSES)

# One statement, so that an operation recorded meanwhile is in all of it or in none. Lots' lines count what they gave to
# their lots; the lots not valued at the end of the span come by number.
_BALANCE = f"""
WITH since AS (
    SELECT o.day > %(last)s AS later, m.lot_id, m.side, m.what, m.valued, {", ".join(f"m.{mass}" for mass in _MASSES)}
      FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id WHERE o.day >= %(first)s
)
SELECT 'now', '', '', {_SUMS} FROM custody_lot WHERE gross_mg > 0
UNION ALL
SELECT CASE WHEN later THEN 'later' ELSE 'span' END, side, '', {_SUMS}
  FROM since WHERE lot_id IS NOT NULL GROUP BY later, side
UNION ALL
SELECT 'crossed', side, what, {_SUMS} FROM since WHERE lot_id IS NULL AND NOT later GROUP BY side, what
UNION ALL
(SELECT 'unvalued', '', l.number, sum(u.mg)::bigint, 0, 0, 0, 0, 0
  FROM (SELECT id, gross_mg AS mg FROM custody_lot WHERE gross_mg > 0 AND NOT valued
        UNION ALL SELECT lot_id, CASE side WHEN 'out' THEN -gross_mg ELSE gross_mg END
                    FROM since WHERE later AND lot_id IS NOT NULL AND NOT valued) u JOIN custody_lot l ON l.id = u.id
 GROUP BY l.id HAVING sum(u.mg) <> 0 ORDER BY l.id)
"""


@dataclass(slots=True)
class Column:
    """One metal (or gross) over a span, milligrams. ``differences`` are gains positive."""

    opening: int = 0
    received: int = 0
    added: int = 0
    dispatched: int = 0
    losses: dict[str, int] = field(default_factory=dict)
    differences: int = 0
    closing: int = 0

    @property
    def unexplained(self) -> int:
        """Zero unless the book is damaged: opening + what came − what went − closing."""
        came = self.opening + self.received + self.added + self.differences
        return came - self.dispatched - sum(self.losses.values()) - self.closing


@dataclass(frozen=True, slots=True)
class Balance:
    """The columns of a span, and the lots not valued at its end by number, with their gross (listed apart)."""

    first: date
    last: date
    columns: dict[str, Column]
    unvalued: dict[str, int]

    @property
    def unvalued_gross(self) -> int:
        """Gross of the lots not valued at the end, milligrams; it is part of the closing gross."""
        return sum(self.unvalued.values())


def balance(first: date, last: date) -> Balance:
    """The balance of the local days ``first`` to ``last``, both included, milligrams."""
    found = Balance(first, last, {name: Column() for name in COLUMNS}, {})
    with connection.cursor() as cursor:
        cursor.execute(_BALANCE, {"first": first, "last": last})
        for part, side, what, *sums in cursor.fetchall():
            if part == "unvalued":
                found.unvalued[what] = sums[0]
                continue
            for name, mg in zip(COLUMNS, sums, strict=True):
                _book(found.columns[name], part, side, what, mg or 0)
    return found


def _book(column: Column, part: str, side: str, what: str, mg: int) -> None:
    if part == "crossed":
        _book_crossed(column, side, what, mg)
        return
    given = mg if part == "now" or side == "in" else -mg
    column.opening += given
    if part != "span":
        column.closing += given


def _book_crossed(column: Column, side: str, what: str, mg: int) -> None:
    if side == "in" or what == Addition.VALUATION:
        column.received += mg
    elif side == "add":
        column.added += mg
    elif side == "out":
        column.dispatched += mg
    elif what == Cause.DIFFERENCE:
        column.differences -= mg
    elif mg:
        column.losses[what] = mg


def balance_document(first: date, last: date) -> dict:
    """The contract's answer to ``balance``: milligrams, per metal, with gross and what is unvalued apart."""
    found = balance(first, last)
    metals = {name: _column_document(column) for name, column in found.columns.items()}
    return {
        "from": first.isoformat(),
        "to": last.isoformat(),
        "unit": "mg",
        "gross": metals.pop("gross"),
        "metals": metals,
        "unvalued_gross": found.unvalued_gross,
        "unvalued": [{"lot": lot, "gross_mg": mg} for lot, mg in found.unvalued.items()],
    }


def _column_document(column: Column) -> dict:
    return {
        "opening": column.opening,
        "received": column.received,
        "added": column.added,
        "dispatched": column.dispatched,
        "losses": dict(sorted(column.losses.items())),
        "differences": column.differences,
        "closing": column.closing,
    }
