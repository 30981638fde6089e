"""Lists of the trace desk."""

from collections.abc import Iterable

import django_tables2 as tables

from custody.calc.mass import format_grams
from custody.staff.desk.tables import DocumentTable
from custody.templatetags.papers import share
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn


def _sum(table: BaseTable) -> str:
    return format_grams(sum(row["mg"] for row in table.data))


class OriginTable(BaseTable):
    """Origins of one metal of a lot; a gain over book names the operation that found it."""

    caption = "Origins"
    origin = LotColumn(verbose_name="Parcel", default="no parcel", orderable=False, footer="Total")
    what = tables.Column(verbose_name="Category", default="not declared", orderable=False)
    party = tables.Column(verbose_name="Party", default="none", orderable=False)
    receipt = LotColumn(verbose_name="Receipt or operation", viewname="operation", orderable=False)
    country = tables.Column(verbose_name="Country", orderable=False)
    mg = MassColumn("Mass", orderable=False, footer=_sum)
    share = FigureColumn("Share", unit="%", orderable=False)


class FateTable(BaseTable):
    """Fates of one metal of a parcel."""

    caption = "Fates"
    fate = tables.Column(verbose_name="Fate", orderable=False, footer="Total")
    lot = LotColumn(verbose_name="Lot", orderable=False)
    words = tables.Column(verbose_name="Serial or cause", orderable=False)
    operation = LotColumn(verbose_name="Left with", viewname="operation", orderable=False)
    mg = MassColumn("Mass", orderable=False, footer=_sum)
    share = FigureColumn("Share", unit="%", orderable=False)


class LossTable(BaseTable):
    """Losses on the way, each the whole operation's; columns of the metals lost are added."""

    caption = "Losses on the way"
    operation = LotColumn(verbose_name="Operation", viewname="operation", orderable=False)
    kind = tables.Column(verbose_name="Kind", orderable=False)
    at = MomentColumn(verbose_name="At", orderable=False)
    cause = tables.Column(verbose_name="Cause", orderable=False)


class ReportTable(DocumentTable):
    """Trace reports of one lot; each has a number of its own."""

    caption = "Trace reports"
    copy_no = None


def with_share(rows: Iterable[dict]) -> list[dict]:
    """Rows of one metal with each one's share of their sum, as the paper says it."""
    rows = list(rows)
    total = sum(row["mg"] for row in rows)
    return [row | {"share": share(row["mg"], total)} for row in rows]
