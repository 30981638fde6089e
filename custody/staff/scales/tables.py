"""Lists of the scales' desk."""

from collections.abc import Iterable
from dataclasses import dataclass

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.html import format_html

from custody.calc import scales as calc
from custody.calc.mass import format_fine_grams, format_grams
from custody.calc.refusals import Refused
from custody.calc.weights import NOMINAL_MG
from custody.models import ReferenceWeight, Scale, ScaleCheck, ScaleCheckLoad, Weighing
from custody.queries import scales as queries
from custody.staff.scales.figures import STATE_TONES, decimals_of, shown, signed
from custody.web.standing import owner_words
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn, StatusColumn

WEIGHT_TONES = {"in use": "good", "certificate ran out": "stop", "out of use": "plain"}
RESULT_TONES = {"passed": "good", "failed": "stop", "found faulty": "stop"}


def link(words: str, viewname: str, *args) -> str:
    """Words that lead to a page."""
    return render_to_string("staff/scales/link.html", {"words": words, "url": reverse(viewname, args=args)})


def mark(number: str, viewname: str) -> str:
    """A lot, a receipt or an operation by its number, leading to its page."""
    return render_to_string("ui/lot.html", {"number": number, "url": reverse(viewname, args=[number])})


def status(word: str, tones: dict[str, str]) -> str:
    """A word of standing with its tone, by the kit."""
    return render_to_string("ui/status.html", {"word": word, "tone": tones.get(word, "plain")})


def result_of(check: ScaleCheck) -> str:
    """What a check came to, in a word."""
    return "passed" if check.passed else "failed" if check.loads.all() else "found faulty"


class StepColumn(FigureColumn):
    """Micrograms in grams, with as many decimals as the scale of the row (or of the table) shows."""

    unit = "g"

    def render(self, value, record, table):
        scale = record if isinstance(record, Scale) else table.scale
        return shown(value, decimals_of(scale.d_ug))


class ScaleTable(BaseTable):
    """The register of scales."""

    caption = "Scales"
    empty_text = "No scale is entered yet."

    code = LotColumn(verbose_name="Scale", viewname="scale", argument="code", orderable=False)
    name = tables.Column(verbose_name="Name", orderable=False)
    place = tables.Column(verbose_name="Place", accessor="place__name", orderable=False)
    state = tables.Column(verbose_name="Today", empty_values=(), orderable=False)
    check = tables.Column(verbose_name="To do", empty_values=(), orderable=False)
    last = MomentColumn(verbose_name="Last check", accessor="last_at", default="never", orderable=False)
    accuracy = tables.Column(verbose_name="Class", orderable=False)
    e = MassColumn("e", accessor="e_mg", orderable=False)
    d = StepColumn("d", accessor="d_ug", orderable=False)
    least = StepColumn("Min", accessor="min_ug", orderable=False)
    most = MassColumn("Max", accessor="max_mg", orderable=False)

    def __init__(self, *args, checks: bool, **kwargs):
        super().__init__(*args, exclude=() if checks else ("check",), **kwargs)

    def render_state(self, record):
        return status(queries.state_of(record), STATE_TONES)

    def render_check(self, record):
        return link("Check", "scale-check", record.code) if record.active else ""


class WeightTable(BaseTable):
    """The register of reference weights."""

    caption = "Reference weights"
    empty_text = "No reference weight is entered yet."

    code = LotColumn(verbose_name="Weight", viewname="reference-weight", argument="code", orderable=False)
    nominal = MassColumn("Nominal", accessor="nominal_mg", orderable=False)
    weight_class = tables.Column(verbose_name="Class", orderable=False)
    off = FigureColumn("May be off by", unit="mg", accessor="pk", orderable=False)
    certificate = tables.Column(verbose_name="Certificate", orderable=False)
    deviation = FigureColumn("Deviation", unit="mg", accessor="deviation_ug", orderable=False)
    valid_until = tables.Column(verbose_name="Valid until", orderable=False)
    state = tables.Column(verbose_name="Standing", empty_values=(), orderable=False)

    def render_off(self, record):
        return milligrams(queries.weight_of(record).error_ug)

    def render_deviation(self, value, record):
        return milligrams(value) if record.uncertainty_ug is not None else "—"

    def render_valid_until(self, value):
        return value.isoformat()

    def render_state(self, record):
        return status(weight_state(record), WEIGHT_TONES)


def milligrams(ug: int) -> str:
    """Micrograms as milligrams, three decimals: as certificates and OIML R 111 have them."""
    return format_grams(ug)


def weight_state(weight: ReferenceWeight) -> str:
    """Where a reference weight stands, in words."""
    if not weight.active:
        return "out of use"
    ran_out = weight.valid_until and weight.valid_until < timezone.localdate()
    return "certificate ran out" if ran_out else "in use"


@dataclass(frozen=True, slots=True)
class Fit:
    """Whether a reference weight is fine enough for a scale, the class that is, and what the scale may show with it."""

    weight: ReferenceWeight
    needed: str
    least: str = "—"
    most: str = "—"

    @property
    def verdict(self) -> str:
        """In words."""
        return "too coarse" if self.least == "—" else "fine enough"


def fits(scale: Scale, weights: Iterable[ReferenceWeight]) -> list[Fit]:
    """The weights that are a load for a scale, as the standard judges them before anything is typed."""
    plate, decimals, found = queries.plate_of(scale), decimals_of(scale.d_ug), []
    for weight in weights:
        known = queries.weight_of(weight)
        needed = class_needed(plate, weight.nominal_mg)
        if needed is None:
            continue
        try:
            limit = calc.daily_check(plate, [known], known.value_ug).limit_ug
        except Refused:
            found.append(Fit(weight, needed))
        else:
            least, most = (shown(known.value_ug + sign * limit, decimals) for sign in (-1, 1))
            found.append(Fit(weight, needed, least, most))
    return found


def class_needed(plate: calc.Scale, load_mg: int) -> str | None:
    """The coarsest class of weights that may check a scale at a load; None for what is no load for it."""
    try:
        return f"{calc.coarsest_class(plate, load_mg)} or finer"
    except Refused as refused:
        return "with a certificate" if refused.field == "reference" else None


def needs_words(scale: Scale) -> str:
    """Which weights check a scale: at the heaviest load of one weight, and at a tenth of it."""
    plate = queries.plate_of(scale)
    heaviest = max(nominal for nominal in NOMINAL_MG if nominal <= scale.max_mg)
    loads = [(load, class_needed(plate, load)) for load in (heaviest, heaviest // 10)]
    told = [f"at {format_grams(load)} g class {needed}" for load, needed in loads if needed]
    return f"Weights that are fine enough: {', '.join(told)}."


class FitTable(BaseTable):
    """Reference weights of the house, as they suit one scale."""

    caption = "Weights for this scale"
    empty_text = "No reference weight in use is a load for this scale. A manager enters them."

    code = tables.Column(verbose_name="Weight", accessor="weight__code", orderable=False)
    nominal = MassColumn("Nominal", accessor="weight__nominal_mg", orderable=False)
    weight_class = tables.Column(verbose_name="Class", accessor="weight__weight_class", orderable=False)
    needed = tables.Column(verbose_name="Class needed", orderable=False)
    verdict = StatusColumn(verbose_name="It is", tones={"fine enough": "good", "too coarse": "stop"}, orderable=False)
    least = FigureColumn("Passes from", unit="g", orderable=False)
    most = FigureColumn("Passes up to", unit="g", orderable=False)


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One load of a check, or a fault, which has none."""

    check: ScaleCheck
    load: ScaleCheckLoad | None

    @property
    def what(self) -> str:
        """The weights on the pan, or what was wrong."""
        return self.load.weights if self.load else self.check.reason


def lines_of(checks: Iterable[ScaleCheck]) -> list[CheckLine]:
    """Checks load by load."""
    return [CheckLine(check, load) for check in checks for load in (list(check.loads.all()) or [None])]


class CheckTable(BaseTable):
    """Checks of one scale, load by load."""

    caption = "Checks"
    empty_text = "It was never checked."

    at = tables.Column(verbose_name="When", accessor="check__at", orderable=False)
    what = tables.Column(verbose_name="Reference weights", orderable=False)
    reference = StepColumn("Stand for", accessor="load__reference_ug", orderable=False)
    reading = StepColumn("Scale showed", accessor="load__reading_ug", orderable=False)
    error = StepColumn("Error", accessor="load__error_ug", orderable=False)
    limit = StepColumn("Permitted ±", accessor="load__limit_ug", orderable=False)
    result = tables.Column(verbose_name="Result", empty_values=(), orderable=False)
    by = tables.Column(verbose_name="By", accessor="check__by", orderable=False)

    def __init__(self, checks: Iterable[ScaleCheck], scale: Scale, **kwargs):
        self.scale = scale
        super().__init__(lines_of(checks), **kwargs)

    def render_at(self, record):
        moment = render_to_string("ui/time.html", {"at": record.check.at})
        return link(moment, "scale-check-result", record.check.pk)

    def render_error(self, value):
        return signed(value, decimals_of(self.scale.d_ug))

    def render_result(self, record):
        load = record.load
        passed = load is not None and abs(load.error_ug) <= load.limit_ug
        word = "passed" if passed else "failed" if load else "found faulty"
        return status(word, RESULT_TONES)


class LoadTable(CheckTable):
    """The loads of one check; when and by whom stand above them."""

    caption = "Loads"

    class Meta:
        exclude = ("at", "by")


class ReadingTable(BaseTable):
    """What one scale sent by itself."""

    caption = "Readings received"
    empty_text = "It sent nothing yet: its weighings are keyed by hand."

    received = MomentColumn(verbose_name="Received", accessor="received_at", orderable=False)
    value = StepColumn("Showed", accessor="value_ug", orderable=False)
    rest = tables.Column(verbose_name="At rest", accessor="stable", orderable=False)
    line = tables.Column(verbose_name="Line as sent", orderable=False)
    used = tables.Column(verbose_name="Used for", empty_values=(), orderable=False)

    def __init__(self, *args, scale: Scale, **kwargs):
        self.scale = scale
        super().__init__(*args, **kwargs)

    def render_rest(self, value):
        return "yes" if value else "no"

    def render_used(self, record):
        for name, word in (("gross_of", "gross"), ("tare_of", "tare")):
            weighing = getattr(record, name, None)
            if weighing:
                return format_html("{} of {}", word, mark(weighing.lot.number, "lot"))
        return "—"


class WeighingTable(BaseTable):
    """Weighings of one scale."""

    caption = "Weighings"
    empty_text = "Nothing was weighed on it."

    lot = LotColumn(verbose_name="Lot", accessor="lot__number", orderable=False)
    purpose = tables.Column(verbose_name="For", accessor="get_purpose_display", orderable=False)
    gross = MassColumn("Gross", accessor="gross_mg", orderable=False)
    tare = MassColumn("Tare", accessor="tare_mg", orderable=False)
    net = MassColumn("Net", accessor="net_mg", orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    by = tables.Column(verbose_name="By", orderable=False)
    keyed = tables.Column(verbose_name="Weight was", orderable=False)

    def render_keyed(self, value):
        return "keyed" if value else "sent by the scale"


class DoubtTable(BaseTable):
    """Weighings that a faulty scale made since its last good check, and what became of each lot."""

    caption = "Weighings since the last good check"
    empty_text = "It weighed nothing since its last good check."

    lot = LotColumn(verbose_name="Lot", accessor="lot__number", orderable=False, footer="Total")
    purpose = tables.Column(verbose_name="For", accessor="get_purpose_display", orderable=False)
    net = MassColumn(
        "Net",
        accessor="net_mg",
        orderable=False,
        footer=lambda table: format_grams(sum(row.net_mg for row in table.data)),
    )
    at = MomentColumn(verbose_name="When", orderable=False)
    by = tables.Column(verbose_name="By", orderable=False)
    keyed = tables.Column(verbose_name="Weight was", orderable=False)
    now = tables.Column(verbose_name="Where it is now", empty_values=(), orderable=False)
    receipt = tables.Column(verbose_name="Receipt", empty_values=(), orderable=False)
    party = tables.Column(verbose_name="Of", empty_values=(), orderable=False)

    render_keyed = WeighingTable.render_keyed

    def render_now(self, record: Weighing):
        lot = record.lot
        if lot.gross_mg:
            return f"{lot.place.name}, held by {lot.custodian}"
        return format_html("nothing left: {} {}", record.ended_kind, mark(record.ended_by, "operation"))

    def render_receipt(self, record: Weighing):
        receipt = record.lot.receipt
        return mark(receipt.number, "receipt") if receipt else "of several"

    def render_party(self, record: Weighing):
        receipt = record.lot.receipt
        return receipt.party.name if receipt and receipt.party else owner_words(record.lot)


class DoubtedReadingTable(BaseTable):
    """Masses that the laboratory read on a faulty balance since its last good check, and what was reported of them."""

    caption = "Readings on worksheets since the last good check"

    worksheet = LotColumn(
        viewname="worksheet", verbose_name="Worksheet", accessor="piece__worksheet__number", orderable=False
    )
    position = FigureColumn("Position", accessor="piece__position", orderable=False)
    of = tables.Column(verbose_name="Of", accessor="get_of_display", orderable=False)
    value = FigureColumn("Reading", unit="g", orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    by = tables.Column(verbose_name="By", orderable=False)
    lot = LotColumn(verbose_name="Lot", accessor="piece__lot__number", default="a proof", orderable=False)
    found_as = LotColumn(verbose_name="Reported as", viewname="accept", orderable=False)

    def render_value(self, value: int):
        return format_fine_grams(value)


class DoubtedRefusalTable(BaseTable):
    """Refused parcels that a faulty scale weighed since its last good check."""

    caption = "Refused parcels since the last good check"

    pk = LotColumn(viewname="refused", argument="number", verbose_name="No.", orderable=False)
    gross_mg = MassColumn("Gross", orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    by = tables.Column(verbose_name="By", orderable=False)
    brought_by = tables.Column(verbose_name="Brought by, handed back to", orderable=False)
