"""Lists of accesses, counts and places."""

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse

from custody.terms import PlaceKind
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn, StatusColumn

STANDING_TONES = {"open": "wait", "open too long": "stop", "closed": "good"}


def link(words: str, name: str, *arguments: str) -> str:
    """Words that lead to a page, by the kit."""
    return render_to_string("ui/lot.html", {"number": words, "url": reverse(name, args=arguments)})


class StandingTable(BaseTable):
    """Places that two people open, as they stand."""

    caption = "Places that two people open"

    place = LotColumn(accessor="place__code", viewname="vault-place", argument="code", orderable=False)
    name = tables.Column(accessor="place__name", verbose_name="Name", orderable=False)
    word = StatusColumn(tones=STANDING_TONES, verbose_name="Now", orderable=False)
    since = MomentColumn(accessor="access__at", verbose_name="Since", default="", orderable=False)
    people = tables.Column(accessor="access", verbose_name="By", default="", orderable=False)
    purpose = tables.Column(accessor="access__purpose", verbose_name="For", default="", orderable=False)

    def render_people(self, value):
        return f"{value.by} and {value.second}"


class AccessTable(BaseTable):
    """The log of a place."""

    caption = "Accesses"
    empty_text = "It was never opened."

    number = LotColumn(viewname="vault-access", verbose_name="Access", orderable=False)
    at = MomentColumn(verbose_name="Opened", orderable=False)
    closed = MomentColumn(accessor="closing__at", verbose_name="Closed", default="open still", orderable=False)
    people = tables.Column(accessor="by", verbose_name="By", orderable=False)
    purpose = tables.Column(verbose_name="For", orderable=False)
    closer = tables.Column(accessor="closing__by", verbose_name="Closed by", default="", orderable=False)

    def render_people(self, record):
        return f"{record.by} and {record.second}"


class DoneTable(BaseTable):
    """What was done in one access."""

    caption = "What was done there"
    empty_text = "Nothing was done there in this time."

    at = MomentColumn(verbose_name="When", orderable=False)
    what = tables.Column(verbose_name="What", orderable=False)
    lots = tables.Column(verbose_name="Lots", orderable=False)
    who = tables.Column(verbose_name="By", orderable=False)

    def render_what(self, value, record):
        if record.operation:
            return link(f"{value} {record.operation}", "operation", record.operation)
        return link(f"{value}: {record.count}", "counted", record.count) if record.count else value

    def render_lots(self, value):
        return ", ".join(value)


class CountTable(BaseTable):
    """Counts of a place."""

    caption = "Counts"
    empty_text = "It was never counted."

    number = LotColumn(viewname="counted", verbose_name="Count", orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    people = tables.Column(accessor="by", verbose_name="By", orderable=False)
    told = FigureColumn("Lots by the book", orderable=False)
    missing = FigureColumn("Not found", orderable=False)
    astray = FigureColumn("Not by the book", orderable=False)

    def render_people(self, record):
        return f"{record.by} and {record.second}"


class CountLineTable(BaseTable):
    """Lots of a count."""

    number = LotColumn(accessor="lot__number", verbose_name="Lot", orderable=False)
    form = tables.Column(accessor="lot__get_form_display", verbose_name="What", orderable=False)
    bar = tables.Column(accessor="lot__bar", verbose_name="Bar", default="", orderable=False)
    custodian = tables.Column(verbose_name="Held by", orderable=False)
    gross = MassColumn("Gross by the book", accessor="book_mg", orderable=False)
    note = tables.Column(verbose_name="Told", default="", orderable=False)

    def __init__(self, *args, caption: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.caption = caption


class StrayTable(BaseTable):
    """What was scanned and does not stand there by the book."""

    caption = "Scanned here, and not here by the book"

    code = tables.Column(verbose_name="Scanned", orderable=False)
    lot = tables.Column(accessor="lot__number", verbose_name="Lot", default="unknown", orderable=False)
    place = tables.Column(verbose_name="Then by the book at", default="nowhere", orderable=False)
    custodian = tables.Column(verbose_name="Held by", default="nobody", orderable=False)
    note = tables.Column(verbose_name="Told", default="", orderable=False)

    def render_lot(self, value):
        return link(value, "lot", value)


class HousePlaceTable(BaseTable):
    """Places of the house, to be kept by a manager."""

    caption = "Places"

    code = LotColumn(viewname="place-change", argument="code", verbose_name="Place", orderable=False)
    name = tables.Column(verbose_name="Name", orderable=False)
    kind = tables.Column(verbose_name="Kind", orderable=False)
    standing = FigureColumn("Lots", orderable=False)
    two_person = tables.Column(verbose_name="Opened by", orderable=False)
    active = StatusColumn(verbose_name="Standing", orderable=False)

    def render_kind(self, value):
        return PlaceKind(value).label

    def render_two_person(self, value):
        return "two people" if value else "anybody"

    def render_active(self, value):
        words = ("in use", "good") if value else ("out of use", "plain")
        return render_to_string("ui/status.html", {"word": words[0], "tone": words[1]})


class ChangeTable(BaseTable):
    """What was changed of a place."""

    caption = "Changes"
    empty_text = "It stands as it was laid out."

    at = MomentColumn(verbose_name="When", orderable=False)
    by = tables.Column(verbose_name="By", orderable=False)
    active = tables.Column(verbose_name="Then", orderable=False)
    two_person = tables.Column(verbose_name="Opened by", orderable=False)

    def render_active(self, value):
        return "in use" if value else "out of use"

    def render_two_person(self, value):
        return "two people" if value else "anybody"
