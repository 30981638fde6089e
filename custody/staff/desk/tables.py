"""Lists of the desk: lots, runs, operations, papers, custody."""

import django_tables2 as tables
from django.template.loader import render_to_string

from custody.calc.fineness import format_percent
from custody.calc.mass import format_grams
from custody.templatetags.metal import UNKNOWN
from custody.terms import METALS
from custody.web.standing import CLEARANCE_TONES, column_total, origin_words, standing_of
from custody.web.tables import (
    BaseTable,
    FigureColumn,
    FinenessColumn,
    LotColumn,
    MassColumn,
    MomentColumn,
    PaperColumn,
    StatusColumn,
)


class NamedLotColumn(LotColumn):
    """A lot's number as a link, or the words of a line that is no lot."""

    def render(self, value, record):
        return super().render(value) if record.lot else value


class SignedMassColumn(MassColumn):
    """A change in milligrams: a gain says so with its sign."""

    def render(self, value):
        return f"+{format_grams(value)}" if value > 0 else super().render(value)


class PercentColumn(FigureColumn):
    """Integer parts per million, shown in per cent."""

    unit = "%"
    show = staticmethod(format_percent)


class LotTable(BaseTable):
    caption = "Lots in your custody"
    empty_text = "You answer for no lot now."

    number = LotColumn(verbose_name="Lot")
    form = tables.Column(accessor="get_form_display", order_by="form", verbose_name="Form")
    place = tables.Column(accessor="place__name", verbose_name="Place")
    gross = MassColumn("Gross", accessor="gross_mg")
    au = MassColumn("Au", accessor="au_mg")
    clearance = StatusColumn(tones=CLEARANCE_TONES)

    def render_au(self, record):
        return format_grams(record.au_mg) if record.valued else UNKNOWN


class PlaceTable(BaseTable):
    caption = "What stands where"
    empty_text = "There is no metal in the house."

    name = tables.Column(verbose_name="Place", orderable=False)
    lots = FigureColumn("Lots", orderable=False)
    gross_mg = MassColumn("Gross", orderable=False)


class RunTable(BaseTable):
    caption = "Open runs"
    empty_text = "No vessel is charged."

    number = LotColumn(accessor="run__number", verbose_name="Run", viewname="run", orderable=False)
    step = tables.Column(accessor="run__step", orderable=False)
    vessel = tables.Column(accessor="run__vessel__name", orderable=False)
    content = LotColumn(accessor="content__number", verbose_name="Content", orderable=False)
    gross = MassColumn("Gross", accessor="content__gross_mg", orderable=False)
    due = MomentColumn(verbose_name="Due", orderable=False)
    standing = StatusColumn(empty_values=(), tones={"overdue": "stop", "in time": "good"}, orderable=False)

    def __init__(self, *args, now, **kwargs):
        self.now = now
        super().__init__(*args, **kwargs)

    def render_standing(self, record):
        word = "overdue" if record.overdue(self.now) else "in time"
        return self.columns["standing"].column.render(word)


class TenureTable(BaseTable):
    caption = "Custody"
    empty_text = "Nobody is on record."

    who = tables.Column(verbose_name="Held by", orderable=False)
    where = tables.Column(verbose_name="At", orderable=False)
    since = MomentColumn(verbose_name="Since", orderable=False)
    until = MomentColumn(verbose_name="Until", orderable=False, default="now")
    how = tables.Column(verbose_name="How it came", orderable=False)
    book_mg = MassColumn("Book", orderable=False)
    weighed_mg = MassColumn("Weighed", orderable=False)
    off_mg = SignedMassColumn("Off", orderable=False)
    allowed_mg = MassColumn("May be off", orderable=False)
    note = tables.Column(orderable=False)


class EventTable(BaseTable):
    """What was done to a lot; metals as extra columns."""

    caption = "What was done to it"

    operation = LotColumn(verbose_name="Operation", viewname="operation", orderable=False)
    kind = tables.Column(orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    by = tables.Column(verbose_name="Who", orderable=False)
    gross = SignedMassColumn("Gross change", accessor="change_mg__0", orderable=False)
    after = MassColumn("Gross after", accessor="after_mg__0", orderable=False)
    reversed_by = LotColumn(verbose_name="Reversed by", viewname="operation", orderable=False)


class RelativeTable(BaseTable):
    """Lots that a lot was made of, or that were made of it."""

    number = LotColumn(verbose_name="Lot", orderable=False)
    form = tables.Column(orderable=False)
    gross_mg = MassColumn("Gross now", orderable=False)
    operation = LotColumn(verbose_name="By operation", viewname="operation", orderable=False)
    kind = tables.Column(orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    standing = StatusColumn(accessor="reversed", tones={"reversed": "stop"}, orderable=False)

    def __init__(self, *args, caption: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.caption = caption
        if not any(row.record.reversed for row in self.rows):
            self.columns.hide("standing")

    def render_standing(self, value):
        return self.columns["standing"].column.render("reversed") if value else ""


class WeighingTable(BaseTable):
    caption = "Weighings"

    at = MomentColumn(verbose_name="When", orderable=False)
    purpose = tables.Column(orderable=False)
    scale = tables.Column(orderable=False)
    gross_mg = MassColumn("Gross", orderable=False)
    tare_mg = MassColumn("Tare", orderable=False)
    net_mg = MassColumn("Net", orderable=False)
    by = tables.Column(verbose_name="Who", orderable=False)


DETERMINED_TONES = {"accepted": "good", "awaits acceptance": "wait", "not accepted": "stop"}


class DeterminationTable(BaseTable):
    caption = "Determinations"

    number = tables.Column(orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    method = tables.Column(orderable=False)
    au_ppm = FinenessColumn("Au", orderable=False)
    ag_ppm = FinenessColumn("Ag", orderable=False)
    by = tables.Column(verbose_name="By", orderable=False)
    standing = StatusColumn(empty_values=(), tones=DETERMINED_TONES, orderable=False)
    accepted_by = tables.Column(accessor="acceptance__by", verbose_name="Accepted by", orderable=False)

    def render_standing(self, record):
        turned_down = "not accepted" if getattr(record, "repeat", None) else "awaits acceptance"
        word = "accepted" if getattr(record, "acceptance", None) else turned_down
        return self.columns["standing"].column.render(word)


class ClearanceEventTable(BaseTable):
    caption = "Holds and releases"

    at = MomentColumn(verbose_name="When", orderable=False)
    clearance = StatusColumn(tones=CLEARANCE_TONES, orderable=False)
    reason = tables.Column(orderable=False)
    by = tables.Column(verbose_name="Who", orderable=False)


class DocumentTable(BaseTable):
    caption = "Papers"
    empty_text = "No paper is issued."

    title = PaperColumn(verbose_name="Paper", orderable=False)
    copy_no = FigureColumn("Copy", orderable=False)
    issued_at = MomentColumn(verbose_name="Issued", orderable=False)
    issued_by = tables.Column(verbose_name="By", orderable=False)


class LineTable(BaseTable):
    """One side of an operation, closed with its total; metals as extra columns."""

    def __init__(self, *args, caption: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.caption = caption

    name = NamedLotColumn(verbose_name="Line", orderable=False, footer="Total")
    form = tables.Column(verbose_name="What", orderable=False)
    gross = MassColumn(
        "Gross",
        accessor="columns_mg__0",
        orderable=False,
        footer=column_total("columns_mg", 0),
    )


class OperationTable(BaseTable):
    caption = "Operations"
    empty_text = "No operation answers to that."

    number = LotColumn(verbose_name="Operation", viewname="operation", orderable=False)
    kind = tables.Column(orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    by = tables.Column(verbose_name="Who", orderable=False)
    party = tables.Column(accessor="party__name", verbose_name="Party", orderable=False)
    gross_mg = MassColumn("Gross in", orderable=False)
    standing = StatusColumn(
        empty_values=(),
        verbose_name="Standing",
        orderable=False,
        tones={"reversed": "stop", "reversal": "wait", "countersigned": "wait"},
    )

    def render_standing(self, record):
        word = ""
        if getattr(record, "reversed_by", None):
            word = "reversed"
        elif record.reverses_id:
            word = "reversal"
        elif record.countersigned_by_id:
            word = "countersigned"
        return self.columns["standing"].column.render(word) if word else UNKNOWN


class ParcelTable(BaseTable):
    caption = "Parcels"

    number = LotColumn(accessor="lot__number", verbose_name="Lot", orderable=False, footer="Total")
    what = tables.Column(empty_values=(), verbose_name="What", orderable=False)
    origin = tables.Column(empty_values=(), verbose_name="Declared origin", orderable=False)
    declared = MassColumn("Declared", accessor="parcel__declared_gross_mg", orderable=False)
    received_mg = MassColumn(
        "Measured", orderable=False, footer=lambda table: format_grams(sum(row.received_mg for row in table.data))
    )
    off_mg = SignedMassColumn("Off", orderable=False)
    declared_ppm = FinenessColumn("Declared Au", accessor="parcel__declared_au_ppm", orderable=False)
    found_ppm = FinenessColumn("Found Au", orderable=False)
    stage = tables.Column(orderable=False)

    def render_what(self, record):
        parcel = record.parcel
        told = [record.lot.get_form_display()]
        if parcel.pieces:
            told.append(f"{parcel.pieces} piece{'s' if parcel.pieces > 1 else ''}")
        if parcel.seal:
            told.append(f"seal {parcel.seal}")
        return ", ".join([*told, *filter(None, (parcel.description,))])

    def render_origin(self, record):
        return origin_words(record.lot) or UNKNOWN

    def render_stage(self, value, record):
        word, tone = standing_of(record.lot)
        return render_to_string("staff/desk/stage.html", {"word": word, "tone": tone, "stage": value})


class PartyTable(BaseTable):
    caption = "Parties"
    empty_text = "No party answers to these words."

    code = LotColumn(verbose_name="Code", viewname="party", argument="code")
    name = tables.Column()
    country = tables.Column()
    deliveries = FigureColumn("Receipts")
    latest = MomentColumn(verbose_name="Latest")


class ReceiptTable(BaseTable):
    caption = "Receipts"
    empty_text = "Nothing was received yet."
    settled_by: dict[int, str] = {}

    number = LotColumn(verbose_name="Receipt", viewname="receipt", orderable=False)
    at = MomentColumn(verbose_name="Received", orderable=False)
    basis = tables.Column(orderable=False)
    parcels = FigureColumn("Parcels", orderable=False)
    by = tables.Column(verbose_name="By", orderable=False)
    standing = StatusColumn(
        empty_values=(), verbose_name="Settlement", orderable=False, tones={"open": "wait", "reversed": "stop"}
    )

    def render_standing(self, record):
        number = self.settled_by.get(record.pk)
        if number:
            return LotColumn(viewname="settlement").render(number)
        word = "bought" if hasattr(record, "purchase") else "open"
        return self.columns["standing"].column.render("reversed" if getattr(record, "reversed_by", None) else word)


class TermsTable(BaseTable):
    """Terms of one party; a metal that was never payable has no column."""

    caption = "Terms agreed"
    empty_text = "No terms are agreed. The metal accountant records them before the first settlement."

    valid_from = tables.Column(verbose_name="From", orderable=False, attrs={"th": {"class": "lot"}})
    currency = tables.Column(orderable=False)
    refining_charge_per_g = FigureColumn("Refining, per g Au", orderable=False)
    treatment_charge = FigureColumn("Treatment", orderable=False)
    minimum_charge = FigureColumn("Minimum", orderable=False)
    agreed_by = tables.Column(verbose_name="Agreed by", orderable=False)

    def __init__(self, terms, **kwargs):
        rows = list(terms)
        payable = [
            (f"{metal}_payable", PercentColumn(f"{metal} payable", accessor=f"payable_ppm__{index}", orderable=False))
            for index, metal in enumerate(METALS)
            if any(row.payable_ppm[index] for row in rows)
        ]
        sequence = ("valid_from", "currency", *(name for name, _ in payable), "...")
        super().__init__(rows, extra_columns=payable, sequence=sequence, **kwargs)

    def render_valid_from(self, value):
        return value.isoformat()
