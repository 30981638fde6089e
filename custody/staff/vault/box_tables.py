"""Lists of boxes and of bars with their weights."""

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse

from custody.calc.mass import format_grams
from custody.queries import bar_lists
from custody.templatetags.metal import UNKNOWN, permille_figure
from custody.templatetags.papers import ozt
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn, StatusColumn


class BoxTable(BaseTable):
    """Boxes."""

    caption = "Boxes"
    empty_text = "No box was packed yet."

    box = LotColumn(accessor="box__number", viewname="box", verbose_name="Box", orderable=False)
    seal = tables.Column(accessor="box__seal", verbose_name="Seal", orderable=False)
    state = StatusColumn(
        verbose_name="It is",
        tones={"closed": "good", "opened": "plain", "left the house closed": "plain"},
        orderable=False,
    )
    bars = FigureColumn("Bars", orderable=False)
    gross = MassColumn("Gross in the house", accessor="gross_mg", orderable=False)
    packed = MomentColumn(accessor="box__at", verbose_name="Packed", orderable=False)
    by = tables.Column(accessor="box__by", verbose_name="By", orderable=False)
    where = tables.Column(accessor="inside", verbose_name="At", empty_values=(), orderable=False)

    def render_where(self, value):
        return ", ".join(sorted({str(lot.place) for lot in value})) or "not in the house"


class BarListTable(BaseTable):
    """Bars with gross and fine in grams and troy ounces, by the rule of their market."""

    caption = "Bars"
    empty_text = "No bar stands on this list."

    mark = tables.Column(accessor="bar__mark", verbose_name="Mark", orderable=False, footer="Together")
    serial = tables.Column(accessor="bar__serial", verbose_name="Serial", orderable=False)
    year = tables.Column(accessor="bar__year", verbose_name="Year", orderable=False)
    kind = tables.Column(verbose_name="Type", orderable=False)
    gross = MassColumn("Gross", accessor="gross_mg", orderable=False, footer=lambda table: _grams(table, "gross_mg"))
    gross_ozt = FigureColumn("Gross", unit="ozt", accessor="weight", default=UNKNOWN, orderable=False,
                             footer=lambda table: _ounces(table, "gross_ozt"))  # fmt: skip
    ppm = FigureColumn("Fineness", unit="‰", default=UNKNOWN, orderable=False)
    fine = MassColumn("Fine", accessor="fine_mg", default=UNKNOWN, orderable=False,
                      footer=lambda table: _per_metal(table, lambda total: format_grams(total.fine_mg)))  # fmt: skip
    fine_ozt = FigureColumn("Fine", unit="ozt", accessor="weight", default=UNKNOWN, orderable=False,
                            footer=lambda table: _per_metal(table, lambda total: ozt(total.fine_ozt)))  # fmt: skip

    def render_serial(self, value, record):
        url = reverse("lot", args=[record.lot.number])
        return render_to_string("ui/lot.html", {"number": value, "url": url})

    def render_gross_ozt(self, value):
        return ozt(value.gross_ozt)

    def render_ppm(self, value, record):
        return f"{permille_figure(value)} {record.metal}"

    def render_fine_ozt(self, value):
        return ozt(value.fine_ozt)


def _grams(table: tables.Table, name: str) -> str:
    return format_grams(sum(getattr(line, name) for line in table.data))


def _ounces(table: tables.Table, name: str) -> str:
    return ozt(sum(getattr(line.weight, name) for line in table.data if line.weight))


def _per_metal(table: tables.Table, show) -> str:
    return ", ".join(f"{total.metal} {show(total)}" for total in bar_lists.totals(table.data))
