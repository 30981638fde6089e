"""The balance as a page of the ledger: what was there, what came and went, what is there; and the list of months."""

from collections.abc import Sequence
from dataclasses import dataclass

import django_tables2 as tables
from django.template.loader import render_to_string

from custody.calc.mass import format_grams
from custody.models import Period
from custody.queries.balance import Balance
from custody.staff.balance_span import Span
from custody.terms import COLUMNS
from custody.web.tables import BaseTable, LotColumn, MassColumn, MomentColumn, StatusColumn


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the balance: gross and metals in mg, what went out with a minus; ``kind`` as in a flow picture."""

    words: str
    kind: str
    amounts: tuple[int, ...]

    @property
    def what(self) -> str:
        return self.words


def lines_of(found: Balance) -> list[Line]:
    """Opening, what came, what went by cause; they sum to the closing, column by column."""
    columns = [found.columns[name] for name in COLUMNS]
    causes = sorted({cause for column in columns for cause in column.losses})
    return [
        Line("Opening", "stock", tuple(column.opening for column in columns)),
        Line("Received", "parcel", tuple(column.received for column in columns)),
        Line("Added: flux, acid, water, reagent", "lot", tuple(column.added for column in columns)),
        Line("Differences", "difference", tuple(column.differences for column in columns)),
        *(
            Line(f"Lost: {cause}", "loss", tuple(-column.losses.get(cause, 0) for column in columns))
            for cause in causes
        ),
        Line("Dispatched", "dispatched", tuple(-column.dispatched for column in columns)),
    ]


class BalanceTable(BaseTable):
    """The lines, and the closing below a double rule; columns of gross and the metals that occur are added."""

    caption = "Ledger"
    what = tables.Column(verbose_name="Line", footer="Closing", orderable=False)


def balance_table(found: Balance, lines: Sequence[Line]) -> BalanceTable:
    """The ledger page of a span."""
    columns = []
    for position, name in enumerate(COLUMNS):
        if name == "gross" or any(line.amounts[position] for line in lines):
            closing = format_grams(found.columns[name].closing)
            heading = name.capitalize() if name == "gross" else name
            mass = MassColumn(heading, accessor=f"amounts__{position}", orderable=False, footer=closing)
            columns.append((name.lower(), mass))
    return BalanceTable(lines, extra_columns=columns)


class UnvaluedTable(BaseTable):
    """Lots not valued at the end of the span: their gross is in the book, their metal is not yet."""

    caption = "Not valued at the end, by gross"
    lot = LotColumn(verbose_name="Lot", orderable=False)
    mg = MassColumn("Gross", orderable=False, footer=lambda table: format_grams(sum(row["mg"] for row in table.data)))


class StandingColumn(StatusColumn):
    """Whether a month is closed, in words."""

    def render(self, record):
        word = standing_of(record)
        return render_to_string("ui/status.html", {"word": word, "tone": "good" if word == "closed" else "plain"})


class MonthTable(BaseTable):
    """Months of the book, the latest first."""

    caption = "Months"
    month = tables.Column(verbose_name="Month", orderable=False, linkify=lambda record: Span.month_of(record.month).url)
    standing = StandingColumn(verbose_name="Standing", accessor="closed_at", empty_values=(), orderable=False)
    closed_at = MomentColumn(verbose_name="Closed", default="not yet", orderable=False)
    closed_by = tables.Column(verbose_name="By", default="nobody", orderable=False)

    def render_month(self, value):
        return f"{value:%Y-%m}"


def standing_of(period: Period | None) -> str:
    """Whether a month is closed, in a word."""
    return "closed" if period and period.closed_at else "open"
