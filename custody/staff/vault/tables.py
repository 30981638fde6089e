"""Lists of the vault desk."""

from datetime import datetime

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse

from custody.calc.bar_sizes import nominal_size
from custody.calc.mass import format_grams, format_kilograms
from custody.queries.handovers import how_passed
from custody.templatetags.metal import UNKNOWN, local_time, permille_figure
from custody.terms import METALS, PPM, PlaceKind
from custody.web.standing import CLEARANCE_TONES, owner_words
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn, StatusColumn, paper_link


def kilograms_of(metals: list[str]) -> list[tuple[str, MassColumn]]:
    """A column of kilograms for each of these metals, read from ``columns_mg``, with its sum."""
    found = []
    for metal in metals:
        index = 1 + METALS.index(metal)
        found.append(
            (
                metal.lower(),
                MassColumn(
                    metal, unit="kg", accessor=f"columns_mg__{index}", orderable=False, footer=_sum_of_column(index)
                ),
            )
        )
    return found


def _sum_of_column(index: int):
    return lambda table: format_kilograms(sum(row.columns_mg[index] for row in table.data))


class MetalTable(BaseTable):
    """Metals of the vault and of the whole house."""

    caption = "Metal"
    empty_text = "There is no valued metal in the house."

    metal = tables.Column(orderable=False)
    vault_kg = MassColumn("In vaults", unit="kg", accessor="vault_mg", orderable=False)
    vault_ozt = MassColumn("In vaults", unit="ozt", accessor="vault_mg", orderable=False)
    house_kg = MassColumn("In the house", unit="kg", accessor="house_mg", orderable=False)
    house_ozt = MassColumn("In the house", unit="ozt", accessor="house_mg", orderable=False)


class PlaceTable(BaseTable):
    """Places and what stands in them."""

    caption = "What stands where"
    empty_text = "There is no metal in the house."

    place = LotColumn(
        accessor="place__code",
        viewname="vault-place",
        argument="code",
        verbose_name="Place",
        orderable=False,
        footer="Total",
    )
    name = tables.Column(accessor="place__name", verbose_name="Name", orderable=False)
    lots = FigureColumn("Lots", orderable=False)
    bars = FigureColumn("Bars", orderable=False)
    gross = MassColumn("Gross", unit="kg", accessor="columns_mg__0", orderable=False, footer=_sum_of_column(0))
    unvalued = MassColumn("Not valued, gross", unit="kg", accessor="unvalued_mg", orderable=False)
    counted = tables.Column(accessor="place__pk", verbose_name="Last counted", orderable=False)

    def __init__(self, *args, counted: dict[int, datetime], **kwargs):
        super().__init__(*args, **kwargs)
        self.last_counted = counted

    def render_name(self, value, record):
        return f"{value} ({PlaceKind(record.place.kind).label})"

    def render_counted(self, value):
        at = self.last_counted.get(value)
        return render_to_string("ui/time.html", {"at": at}) if at else "never"


class PlaceMetalTable(BaseTable):
    """Metals at one place."""

    caption = "Metal here"
    empty_text = "There is no valued metal here."

    metal = tables.Column(orderable=False)
    kg = MassColumn("Fine", unit="kg", accessor="house_mg", orderable=False)
    ozt = MassColumn("Fine", unit="ozt", accessor="house_mg", orderable=False)


class SizeTable(BaseTable):
    """Bars by nominal size."""

    caption = "Bars by size"
    empty_text = "No bar stands here."

    name = tables.Column(verbose_name="Size", orderable=False)
    bars = FigureColumn("Bars", orderable=False)
    gross = MassColumn("Gross", unit="kg", accessor="gross_mg", orderable=False)
    au_kg = MassColumn("Fine Au", unit="kg", accessor="au_mg", orderable=False)
    au_ozt = MassColumn("Fine Au", unit="ozt", accessor="au_mg", orderable=False)
    serials = tables.Column(verbose_name="Serials", orderable=False)

    def render_serials(self, value):
        return ", ".join(value)


class BarTable(BaseTable):
    """The bars of a place one by one."""

    caption = "Bars"

    serial = tables.Column(verbose_name="Serial", orderable=False)
    lot = LotColumn(accessor="lot__number", verbose_name="Lot", orderable=False)
    size = tables.Column(accessor="lot__gross_mg", verbose_name="Size", orderable=False)
    gross = MassColumn("Gross", accessor="lot__gross_mg", orderable=False)
    fineness = FigureColumn("Fineness", unit="‰", accessor="lot", orderable=False)
    owner = tables.Column(accessor="lot", verbose_name="Owner", orderable=False)
    custodian = tables.Column(accessor="lot__custodian", verbose_name="Held by", orderable=False)
    clearance = StatusColumn(accessor="lot__clearance", tones=CLEARANCE_TONES, orderable=False)

    def render_serial(self, value, record):
        return f"{record.mark} {value} {record.year}"

    def render_size(self, value):
        return nominal_size(value)

    def render_fineness(self, value):
        return permille_figure(max(value.metals_mg) * PPM // value.gross_mg) if value.valued else UNKNOWN

    def render_owner(self, value):
        return owner_words(value)


class LotTable(BaseTable):
    """Lots of a place that are no bars."""

    caption = "Other lots"
    empty_text = "No other lot stands here."

    number = LotColumn(verbose_name="Lot")
    form = tables.Column(accessor="get_form_display", order_by="form", verbose_name="Form")
    gross = MassColumn("Gross", accessor="gross_mg")
    au = MassColumn("Au", accessor="au_mg")
    ag = MassColumn("Ag", accessor="ag_mg")
    owner = tables.Column(accessor="pk", verbose_name="Owner", orderable=False)
    custodian = tables.Column(verbose_name="Held by", order_by="custodian__username")
    clearance = StatusColumn(tones=CLEARANCE_TONES)

    def render_au(self, record):
        return format_grams(record.au_mg) if record.valued else UNKNOWN

    def render_ag(self, record):
        return format_grams(record.ag_mg) if record.valued else UNKNOWN

    def render_owner(self, record):
        return owner_words(record)


class HandoverTable(BaseTable):
    """The latest handovers at a place, each leading to its list."""

    caption = "Latest handovers"

    at = tables.Column(verbose_name="When", orderable=False)
    giver = tables.Column(verbose_name="From", orderable=False)
    taker = tables.Column(verbose_name="To", default="nobody", orderable=False)
    lots = FigureColumn("Lots", orderable=False)
    missing = FigureColumn("Not found", orderable=False)

    def render_at(self, record):
        url = reverse("passed", args=[record.key])
        return render_to_string("ui/lot.html", {"number": local_time(record.at), "url": url})


class PassedTable(BaseTable):
    """Lots that one handover passed, each with how it passed."""

    caption = "What passed"

    number = LotColumn(accessor="lot__number", verbose_name="Lot", orderable=False)
    form = tables.Column(accessor="lot__get_form_display", verbose_name="What", orderable=False)
    bar = tables.Column(accessor="lot__bar", verbose_name="Bar", default="", orderable=False)
    place = tables.Column(accessor="to_place__name", verbose_name="At", orderable=False)
    book = MassColumn("Book", accessor="book_mg", orderable=False)
    weighed = MassColumn("Weighed", accessor="weighed_mg", orderable=False)
    how = tables.Column(accessor="pk", verbose_name="How it passed", orderable=False)

    def render_how(self, record):
        return how_passed(record)


class OutlookTable(BaseTable):
    """Lots that are to leave, with what stands in the way."""

    caption = "What would leave"

    number = LotColumn(accessor="lot__number", verbose_name="Lot", orderable=False)
    what = tables.Column(accessor="lot", verbose_name="What", orderable=False)
    box = tables.Column(verbose_name="Box", default="", orderable=False)
    owner = tables.Column(accessor="lot", verbose_name="Owner", orderable=False)
    gross = MassColumn("Gross", accessor="lot__gross_mg", orderable=False)
    au = MassColumn("Au", accessor="lot", orderable=False)
    ag = MassColumn("Ag", accessor="lot", orderable=False)
    obstacle = StatusColumn(verbose_name="Leaves", empty_values=(), orderable=False)

    def render_what(self, value):
        bar = getattr(value, "bar", None)
        return f"bar {bar}" if bar else value.get_form_display()

    def render_box(self, value):
        return f"{value}, seal {value.seal}"

    def render_owner(self, value):
        return owner_words(value)

    def render_au(self, value):
        return format_grams(value.au_mg) if value.valued else UNKNOWN

    def render_ag(self, value):
        return format_grams(value.ag_mg) if value.valued else UNKNOWN

    def render_obstacle(self, value):
        return status(value, "stop") if value else status("may leave", "good")


class ClaimTable(BaseTable):
    """The party's claims before and after."""

    caption = "Its claims on the house"
    empty_text = "It has no claim on any metal."

    metal = tables.Column(orderable=False)
    before = MassColumn("Before", accessor="before_mg", orderable=False)
    delivered = MassColumn("This dispatch", accessor="delivered_mg", orderable=False)
    after = MassColumn("After", accessor="after_mg", orderable=False)
    standing = tables.Column(accessor="after_mg", verbose_name="Its claim is", orderable=False)

    def render_standing(self, value):
        return status("enough" if value >= 0 else "too small", "good" if value >= 0 else "stop")


class CoverTable(BaseTable):
    """What the house would hold after a sale, against what it owes."""

    caption = "What the house owes others"

    metal = tables.Column(orderable=False)
    held = MassColumn("Held afterwards", accessor="held_mg", orderable=False)
    owed = MassColumn("Owed", accessor="owed_mg", orderable=False)
    standing = tables.Column(accessor="over_mg", verbose_name="What is owed is", orderable=False)

    def render_standing(self, value):
        return status("covered" if value >= 0 else "not covered", "good" if value >= 0 else "stop")


class DispatchTable(BaseTable):
    """Dispatches."""

    caption = "Dispatches"
    empty_text = "Nothing was dispatched yet."

    number = LotColumn(viewname="dispatched", verbose_name="Dispatch", orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    party = tables.Column(accessor="party__name", verbose_name="To", orderable=False)
    by = tables.Column(verbose_name="By", orderable=False)


class LeftTable(BaseTable):
    """What left with one dispatch."""

    caption = "What left"

    number = LotColumn(accessor="lot__number", verbose_name="Lot", orderable=False)
    bar = tables.Column(verbose_name="Bar", default="", orderable=False)
    gross = MassColumn("Gross", accessor="columns_mg__0", orderable=False)
    certificate = tables.Column(empty_values=(), verbose_name="Certificate", orderable=False)

    class Meta:
        sequence = ("number", "bar", "gross", "...", "certificate")

    def render_certificate(self, value, record):
        if record.bar is None:
            return "no bar"
        if value is None:
            return "not issued yet"
        return paper_link(value)


def status(word: str, tone: str) -> str:
    """A word of standing, by the kit."""
    return render_to_string("ui/status.html", {"word": word, "tone": tone})
