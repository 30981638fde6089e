"""The balance of a span of local days: what was there, what came, what went and how, what is there.

Opening and closing are summed from the lots' own movements, the rest from the lines that cross the book's edge; that
both agree is I1 for the whole span.
"""

from dataclasses import dataclass, field
from datetime import date

from django.db import connection

from custody.terms import COLUMNS, Addition, Cause

_SUMS = ", ".join(f"coalesce(sum({{sign}} * m.{column}_mg), 0)::bigint" for column in (c.lower() for c in COLUMNS))

# What lots hold at the end of a day: what they were given less what was taken from them.
_HELD = f"""
SELECT {_SUMS.format(sign="(CASE m.side WHEN 'out' THEN 1 ELSE -1 END)")}
  FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id
 WHERE m.lot_id IS NOT NULL AND o.day {{until}} %s
"""

_UNVALUED = """
SELECT coalesce(sum(CASE m.side WHEN 'out' THEN m.gross_mg ELSE -m.gross_mg END), 0)::bigint
  FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id
 WHERE m.lot_id IS NOT NULL AND NOT m.valued AND o.day <= %s
"""

_CROSSED = f"""
SELECT m.side, m.what, {_SUMS.format(sign="1")}
  FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id
 WHERE m.lot_id IS NULL AND o.day BETWEEN %s AND %s
 GROUP BY m.side, m.what
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
    """The columns of a span, and the gross of lots not valued at its end (listed apart)."""

    first: date
    last: date
    columns: dict[str, Column]
    unvalued_gross: int


def balance(first: date, last: date) -> Balance:
    """The balance of the local days ``first`` to ``last``, both included, milligrams."""
    columns = {name: Column() for name in COLUMNS}
    with connection.cursor() as cursor:
        for moment, until, day in (("opening", "<", first), ("closing", "<=", last)):
            cursor.execute(_HELD.format(until=until), [day])
            for name, mg in zip(COLUMNS, cursor.fetchone(), strict=True):
                setattr(columns[name], moment, mg)
        cursor.execute(_CROSSED, [first, last])
        for side, what, *sums in cursor.fetchall():
            for name, mg in zip(COLUMNS, sums, strict=True):
                _book(columns[name], side, what, mg)
        cursor.execute(_UNVALUED, [last])
        unvalued = cursor.fetchone()[0]
    return Balance(first, last, columns, unvalued)


def _book(column: Column, side: str, what: str, mg: int) -> None:
    if side == "in" or what == Addition.VALUATION:
        column.received += mg
    elif side == "add":
        column.added += mg
    elif side == "out":
        column.dispatched += mg
    elif what == Cause.DIFFERENCE:
        column.differences -= mg
    elif mg:
        column.losses[what] = column.losses.get(what, 0) + mg


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
    }


def _column_document(column: Column) -> dict:
    return {
        "opening": column.opening,
        "received": column.received,
        "added": column.added,
        "dispatched": column.dispatched,
        "losses": {cause: mg for cause, mg in sorted(column.losses.items()) if mg},
        "differences": column.differences,
        "closing": column.closing,
    }
