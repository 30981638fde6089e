"""Electrolytic cells: their current as it is read, and the deposit it should give beside the one that was weighed."""

from datetime import datetime
from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from custody.actions.cells import keep_current
from custody.calc import cell as calc
from custody.calc.cell import Cell
from custody.calc.fineness import format_percent
from custody.calc.rounding import to_places
from custody.calc.safety import cautions_for
from custody.documents import cell_chart
from custody.errors import Refusal
from custody.models import CellReading, Lot
from custody.queries import cells as queries
from custody.roles import Verb, may
from custody.templatetags.metal import local_time
from custody.terms import METALS, Kind
from custody.web.access import needs
from custody.web.asked import id_asked
from custody.web.forms import EventForm, MomentField, ThousandthsField
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn, StatusColumn

CELLS_A_PAGE = 25
#: How a cell's standing is drawn in the list, by its word.
TONES = {
    "as expected": "good",
    "readings missing": "wait",
    "too much deposit": "stop",
    "too little deposit": "stop",
}


def _minute(at: datetime) -> datetime:
    return timezone.localtime(at).replace(second=0, microsecond=0)


class CurrentForm(EventForm):
    """A mean current over a time. Left as offered, it goes on from the last reading to this moment, without a gap."""

    from_at = MomentField(label="From")
    current = ThousandthsField(label="Mean current, A", what="current", zero=True)
    voltage = ThousandthsField(label="Voltage, V", what="voltage", zero=True, required=False)
    note = forms.CharField(label="Note", required=False, max_length=200)

    field_order = ("from_at", "at", "current", "voltage", "note")

    def __init__(self, *args, start: datetime, end: datetime | None = None, wrong: CellReading | None = None, **kwargs):
        super().__init__(*args, **kwargs)
        self.start, self.end, self.wrong = start, end, wrong
        self.fields["at"].label = "To"
        self.fields["from_at"].initial = _minute(start)
        if end:
            self.fields["at"].initial = _minute(end)
        if wrong:
            self.fields["current"].initial, self.fields["voltage"].initial = wrong.milliampere, wrong.millivolt
            self.fields["note"].required = True
            self.fields["note"].label = "Why it is replaced"
            self.fields["note"].error_messages["required"] = "Say why the reading is replaced."

    @property
    def span(self) -> tuple[datetime, datetime]:
        """From and to, exact to the second where they were left as offered."""
        since, until = self.cleaned_data["from_at"], self.cleaned_data["at"]
        exact_end = self.end if self.end and until == _minute(self.end) else None
        return (
            self.start if since == _minute(self.start) else since,
            exact_end or (self.moment if self.end is None else until),
        )

    def refuse(self, refusal: Exception) -> None:
        """The action speaks of ``to_at``; here that is the moment of every entry."""
        if getattr(refusal, "field", "") == "to_at":
            self.add_error("at", refusal.sentence)
        else:
            super().refuse(refusal)


class ReadingTable(BaseTable):
    caption = "Readings of the current"
    empty_text = "No current is read yet."
    from_at = MomentColumn("From")
    to_at = MomentColumn("To")
    milliampere = FigureColumn("Current", unit="A")
    millivolt = FigureColumn("Voltage", unit="V", default="not read")
    charge = FigureColumn("Charge", unit="Ah", accessor="pk")
    by = tables.Column("By")
    note = tables.Column("Note", default="")

    class Meta:
        orderable = False

    def render_milliampere(self, value):
        return _thousandths(value)

    def render_millivolt(self, value):
        return _thousandths(value)

    def render_charge(self, record):
        one = calc.Current(record.from_at, record.to_at, record.milliampere)
        return calc.ampere_hours(one.hours() * one.milliampere)


class CountingReadings(ReadingTable):
    mend = tables.TemplateColumn(verbose_name="Wrong?", template_name="staff/plant/reading_mend.html", orderable=False)

    class Meta(ReadingTable.Meta):
        pass


class ReplacedReadings(ReadingTable):
    caption = "Readings that were replaced"

    class Meta(ReadingTable.Meta):
        pass


class CellTable(BaseTable):
    caption = "Cells"
    empty_text = "No cell was charged yet."
    run = LotColumn(verbose_name="Run", viewname="cell", accessor="content__run__number")
    cell = tables.Column("Cell, metal", accessor="content__run__vessel__code")
    word = StatusColumn(verbose_name="Standing", tones=TONES)
    charge = FigureColumn("Charge", unit="Ah")
    expected = MassColumn("Expected", accessor="expected")
    weighed = MassColumn("Weighed", accessor="weighed")
    efficiency = FigureColumn("Efficiency", unit="%", default="not found")
    since = tables.DateColumn(verbose_name="Since", accessor="cell__began", format="Y-m-d")

    class Meta:
        orderable = False

    def render_cell(self, value, record):
        return f"{value}, {record['cell'].metal}"


@require_safe
@needs(Verb.READ_BOOK)
def cells(request: HttpRequest) -> HttpResponse:
    """Every run of a cell, those under way first, with what was read and weighed."""
    contents = queries.contents_of_cells(request.user).order_by("-run__finished_by", "-run__id")[:CELLS_A_PAGE]
    contents = sorted(contents, key=lambda content: content.run.finished_by_id is not None)
    found = queries.cells_of(content.run for content in contents)
    rows = [_row(content, found[content.run_id]) for content in contents]
    context = {"table": CellTable(rows), "actions": [Action(label="Back to the plant", url=reverse("plant"))]}
    return render(request, "staff/plant/cells.html", context)


def _row(content: Lot, cell: Cell) -> dict:
    found = cell.efficiency_ppm
    return {
        "content": content,
        "cell": cell,
        "charge": calc.ampere_hours(cell.milliampere_hours()),
        "expected": calc.rounded_mg(cell.expected_mg()),
        "weighed": cell.weighed_mg() if cell.cathodes else None,
        "efficiency": None if found is None else _percent(found),
        "word": "finished" if content.run.finished_by_id else calc.judge(cell).word,
    }


@needs(Verb.READ_BOOK)
def cell(request: HttpRequest, number: str) -> HttpResponse:
    """One run of a cell: charge, deposit, efficiency, energy, expected end; and the next reading of its current."""
    content = get_object_or_404(queries.contents_of_cells(request.user), run__number=number)
    run, worker = content.run, may(request.user.roles, Verb.REFINE)
    found = queries.cell_of(run)
    wrong = _to_replace(request, run)
    over = run.finished_by.at if run.finished_by else None
    start = wrong.from_at if wrong else max([found.began, *(one.to_at for one in found.currents)])
    end = wrong.to_at if wrong else over
    sent = request.POST if request.method == "POST" else None
    if sent is not None and not worker:
        raise PermissionDenied
    form = CurrentForm(sent, start=start, end=end, wrong=wrong)
    if sent is not None and form.is_valid() and _keep(request, run, form):
        return redirect("cell", number)
    until = over or timezone.now()
    offered = worker and (wrong or form.is_bound or over is None or start < over)
    context = {
        "content": content,
        "under": f"{run.vessel}: {run.step}",
        "judged": calc.judge(found),
        "panels": _panels(content, found),
        "form": form if offered else None,
        "action_label": "Replace the reading" if wrong else "Keep the current",
        "readings": (CountingReadings if worker else ReadingTable)(queries.readings_of(run)),
        "replaced": ReplacedReadings(queries.replaced_readings(run)),
        "cautions": cautions_for(Kind(run.step)),
        "actions": _actions(content, worker),
    } | _chart(found, run.vessel.code, until)
    return render(request, "staff/plant/cell.html", context)


def _to_replace(request: HttpRequest, run) -> CellReading | None:
    return queries.readings_of(run).filter(pk=id_asked(request.GET.get("replaces", ""))).first()


def _keep(request: HttpRequest, run, form: CurrentForm) -> bool:
    said = form.cleaned_data
    since, until = form.span
    try:
        kept = keep_current(
            run=run,
            from_at=since,
            to_at=until,
            milliampere=said["current"],
            millivolt=said["voltage"],
            note=said["note"],
            replaces=form.wrong,
            at=timezone.now(),
            by=request.user,
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return False
    amperes = _thousandths(kept.milliampere)
    messages.success(request, f"{amperes} A from {local_time(kept.from_at)} to {local_time(kept.to_at)} are kept.")
    return True


def _panels(content: Lot, cell: Cell) -> list[Panel]:
    energy, found, metal = cell.wh_per_kg, cell.efficiency_ppm, cell.metal
    last, ends = cell.last_weighed, cell.ends
    low, high = calc.USUAL[metal]
    deposit = [
        Fact(label="Charge so far", value=f"{calc.ampere_hours(cell.milliampere_hours())} Ah"),
        Fact(label=f"{metal} that it deposits, by Faraday's law", mg=calc.rounded_mg(cell.expected_mg())),
        Fact(label="Of it up to the last weighing", mg=calc.rounded_mg(cell.expected_mg(last)) if last else None),
        Fact(label="Cathodes weighed, less starting sheets", mg=cell.weighed_mg() if cell.cathodes else None),
        Fact(label="Current efficiency found", value=f"{_percent(found)} %" if found is not None else "not found"),
        Fact(
            label="Energy",
            value=f"{to_places(energy / 1000, 3)} kWh for a kilogram" if energy is not None else "no voltage read",
        ),
    ]
    usual = f"Usual: {_percent(low)} to {_percent(high)} % (common practice). Gold is reckoned trivalent."
    holds = [Fact(label=name, mg=mg) for name, mg in zip(("Gross", *METALS), content.columns_mg, strict=True)]
    about = [
        Fact(label="Content", value=content.number, url=reverse("lot", args=[content.number])),
        Fact(label="Custodian", value=content.custodian),
        Fact(label="Charged first", at=cell.began),
        Fact(label=f"{metal} charged in anodes", mg=cell.anodes_mg),
        Fact(label=f"{metal} back in scrap and slimes", mg=cell.back_mg),
    ]
    if content.run.finished_by:
        about.append(Fact(label="Finished", at=content.run.finished_by.at))
    else:
        about.append(Fact(label="Anodes used up", at=ends) if ends else Fact(label="Anodes used up", value="not known"))
    return [
        Panel(title="Deposit", facts=deposit, note=usual if metal == "Au" else usual.split(" Gold")[0]),
        Panel(title="The cell", facts=about, note="The end is reckoned at the latest current and efficiency."),
        Panel(title="In the cell, by the book", facts=holds),
    ]


def _actions(content: Lot, worker: bool) -> list[Action]:
    run = content.run
    actions = [Action(label="The run", url=reverse("run", args=[run.number]))]
    if worker and not run.finished_by:
        again = urlencode({"vessel": run.vessel.code})
        actions += [
            Action(label="Draw cathodes, scrap, slimes", url=reverse("draw", args=[run.number]), tone="main"),
            Action(label="Charge anodes or electrolyte", url=f"{reverse('charge')}?{again}"),
            Action(label="Finish", url=reverse("finish", args=[run.number])),
        ]
    return actions


def _chart(cell: Cell, vessel: str, until: datetime) -> dict:
    if not cell.currents:
        return {}
    found = cell.efficiency_ppm
    title = f"Current and deposit of {vessel}"
    desc = (
        f"Readings of the current: {len(cell.currents)}, {calc.ampere_hours(cell.milliampere_hours())} ampere-hours."
        f" Weighings of cathodes: {len(cell.cathodes)}."
        f" {'No efficiency is found yet.' if found is None else f'Efficiency found: {_percent(found)} per cent.'}"
    )
    return {"chart_title": title, "chart": cell_chart.svg(cell, until=until, title=title, desc=desc), "words": desc}


def _thousandths(value: int) -> str:
    return ThousandthsField(what="figure").show(value)


def _percent(ppm: int) -> str:
    return format_percent(round(ppm, -2))
