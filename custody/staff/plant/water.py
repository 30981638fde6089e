"""Water: the permit's limits, treated water beside them and its discharge, and the register of discharges."""

from collections.abc import Iterator

import django_tables2 as tables
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.actions.solutions import set_effluent_limits
from custody.actions.water import discharge
from custody.calc.solutions import Limit
from custody.errors import Refusal
from custody.models import Lot
from custody.queries import tanks, water
from custody.roles import Verb, may
from custody.staff.entry import sent_before
from custody.staff.plant.water_forms import DischargeForm, LimitRows, LimitsForm
from custody.templatetags.metal import local_day
from custody.terms import METALS
from custody.web.access import needs
from custody.web.csv_file import csv_file
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MomentColumn, StatusColumn

PER_PAGE = 25


class LimitTable(BaseTable):
    caption = "Limits in force today"
    empty_text = "No limits are set: nothing may be discharged until a manager enters those of the permit."
    substance = tables.Column("Substance")
    words = tables.Column("Limit, mg/L; pH without unit", accessor="words")

    class Meta:
        orderable = False


class LimitHistory(BaseTable):
    caption = "Every limit that was set, the latest first"
    empty_text = "None."
    valid_from = tables.Column("From")
    substance = tables.Column("Substance")
    words = FigureColumn("Limit, mg/L", empty_values=())
    by = tables.Column("Set by", accessor="set_by")
    note = tables.Column("Note", default="—")

    class Meta:
        orderable = False

    def render_valid_from(self, value):
        return f"{value:%Y-%m-%d}"

    def render_words(self, record):
        return words_of(Limit(record.substance, record.least, record.most))


class BesideTable(BaseTable):
    caption = "The accepted assay beside the limits, mg/L"
    empty_text = "No limits are set."
    substance = tables.Column("Substance", accessor="limit__substance")
    found = FigureColumn("Found", accessor="found_words")
    limit = FigureColumn("Limit", accessor="limit_words")
    word = StatusColumn(verbose_name="Standing", tones={"within": "good", "outside": "stop", "not measured": "stop"})

    class Meta:
        orderable = False


class TreatedTable(BaseTable):
    caption = "Solutions in your custody"
    empty_text = "No solution stands in your custody. A run's treated water becomes one when the run is finished."
    number = LotColumn(verbose_name="Lot", viewname="discharge", accessor="lot__number")
    place = tables.Column("At", accessor="lot__place")
    litres = FigureColumn("Litres", accessor="volume__litres")
    assayed = tables.Column("Volume", accessor="volume__how")

    class Meta:
        orderable = False


class RegisterTable(BaseTable):
    caption = "Discharged, the latest first"
    empty_text = "Nothing was discharged."
    number = LotColumn(verbose_name="Operation", viewname="operation", accessor="operation__number")
    at = MomentColumn("When", accessor="operation__at")
    lot = LotColumn(verbose_name="Lot", accessor="lot__number")
    litres = FigureColumn("Litres")
    figures = tables.Column("Found, mg/L (limit)", default="—")
    metals = tables.Column("Metal, mg")
    by = tables.Column("By", accessor="operation__by")

    class Meta:
        orderable = False


def words_of(limit: Limit) -> str:
    """A limit as a permit writes it."""
    return water.Beside(limit, None).limit_words


@require_GET
@needs(Verb.READ_BOOK)
def register(request: HttpRequest) -> HttpResponse:
    """The register of discharges, today's limits, and what could be discharged."""
    viewer = request.user
    lines = water.discharges(viewer)
    page = Paginator(lines, PER_PAGE).get_page(request.GET.get("page"))
    today = timezone.localdate()
    limits = [{"substance": limit.substance, "words": words_of(limit)} for limit in water.limits_on(today)]
    context = {
        "table": RegisterTable(water.register(page.object_list, viewer)),
        "page": page,
        "limits": LimitTable(limits),
        "treated": _treated(request) if may(viewer.roles, Verb.REFINE) else None,
        "actions": [
            Action(label="Limits of the permit", url=reverse("effluent-limits")),
            Action(label="Register as CSV", url=reverse("water-csv")),
            Action(label="Vessels and tanks", url=reverse("tanks")),
        ],
    }
    return render(request, "staff/plant/water.html", context)


def _treated(request: HttpRequest) -> TreatedTable:
    return TreatedTable([{"lot": lot, "volume": volume} for lot, volume in water.treated(request.user)])


@require_GET
@needs(Verb.READ_BOOK)
def register_csv(request: HttpRequest) -> HttpResponse:
    """The whole register as CSV, one line a discharged lot."""
    return csv_file("discharges.csv", _lines(request))


def _lines(request: HttpRequest) -> Iterator[tuple]:
    metals = [f"{metal}_mg" for metal in METALS]
    yield ("day", "operation", "lot", "litres", "assay", "found_mg_l_and_limit", *metals, "by")
    lines = list(water.discharges(request.user))
    for start in range(0, len(lines), 200):
        for one in water.register(lines[start : start + 200], request.user):
            assay = one.assay.number if one.assay else ""
            yield (
                one.operation.day.isoformat(), one.operation.number, one.lot.number, one.litres, assay, one.figures,
                *one.metals_mg, one.operation.by,
            )  # fmt: skip


@needs(Verb.REFINE)
def discharge_lot(request: HttpRequest, number: str) -> HttpResponse:
    """One treated water beside the limits; it is discharged, whole or so many litres of it."""
    before = sent_before(request)
    if before:
        return before
    lot = get_object_or_404(tanks.solutions_standing(request.user), number=number)
    assay = water.assayed_as_it_is(lot, request.user)
    volume = tanks.volume_of(lot)
    form = DischargeForm(request.POST if request.method == "POST" else None, initial={"volume": volume.ml})
    if request.method == "POST" and form.is_valid():
        try:
            whole = form.cleaned_data["volume"] == volume.ml
            posted = discharge(
                lot=lot,
                volume=None if whole else form.cleaned_data["volume"],
                at=form.moment,
                by=request.user,
                note=form.cleaned_data["note"],
                request_key=form.cleaned_data["request_key"],
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"The discharge is recorded as {posted.number}.")
            return redirect("water")
    limits = water.limits_on(timezone.localdate())
    lines = water.beside(assay, limits) if assay else []
    context = {
        "lot": lot,
        "form": form,
        "beside": BesideTable(lines) if assay else None,
        "why_not": _why_not(lot, assay, lines, limits),
        "panels": [_panel(lot, assay, volume)],
    }
    return render(request, "staff/plant/discharge.html", context)


def _why_not(lot: Lot, assay, lines: list, limits: list[Limit]) -> str:
    """What keeps this water in the house, in a sentence; empty where it may leave."""
    if not limits:
        return "No limits for discharge are set: a manager enters those of the permit first."
    if assay is None:
        return f"Lot {lot.number} is not assayed as it is now. It leaves once an assay is accepted by a second person."
    kept = [line.limit.substance for line in lines if not line.passes]
    return f"Outside the permit or not measured: {', '.join(kept)}. Treat it again." if kept else ""


def _panel(lot: Lot, assay, volume: tanks.Volume) -> Panel:
    facts = [
        Fact(label="Lot", value=lot.number, url=reverse("lot", args=[lot.number])),
        Fact(label="At", value=lot.place),
        Fact(label="Held by", value=lot.custodian),
        Fact(label="Litres", value=f"{volume.litres}, {volume.how}"),
        *(Fact(label=metal, mg=mg) for metal, mg in zip(METALS, lot.metals_mg, strict=True) if mg),
    ]
    if assay:
        facts.append(Fact(label="Assay", value=assay.number, url=reverse("solution-assay", args=[assay.number])))
        facts.append(Fact(label="Sampled", value=local_day(assay.at)))
    return Panel(title="Treated water", facts=facts)


@needs(Verb.READ_BOOK)
def limits(request: HttpRequest) -> HttpResponse:
    """The permit's limits: those of today, those that were; a manager enters new ones from a date on."""
    may_set = may(request.user.roles, Verb.SET_PLANT)
    today = timezone.localdate()
    now = water.limits_on(today)
    sent = request.POST if request.method == "POST" else None
    form = LimitsForm(sent, initial={"valid_from": today} | _ph_of(now))
    known = [{"substance": limit.substance, "most": limit.most} for limit in now if limit.substance != water.PH]
    rows = LimitRows(sent, prefix="limit", initial=known)
    if sent is not None:
        if not may_set:
            raise PermissionDenied("You may not change the limits.")
        readable = [part.is_valid() for part in (form, rows)]
        if all(readable) and _set(request, form, rows):
            return redirect("effluent-limits")
    table = LimitHistory(water.limits_history())
    tables.RequestConfig(request, paginate={"per_page": PER_PAGE}).configure(table)
    context = {
        "form": form,
        "row_sets": [rows],
        "may_set": may_set,
        "now": LimitTable([{"substance": limit.substance, "words": words_of(limit)} for limit in now]),
        "table": table,
    }
    return render(request, "staff/plant/effluent_limits.html", context)


def _ph_of(limits: list[Limit]) -> dict:
    found = next((limit for limit in limits if limit.substance == water.PH), None)
    return {"ph_least": found.least, "ph_most": found.most} if found else {}


def _set(request: HttpRequest, form: LimitsForm, rows) -> bool:
    said = form.cleaned_data
    named = {row["substance"]: (None, row["most"]) for row in rows.rows}
    if said["ph_most"] is not None:
        named[water.PH] = (said["ph_least"], said["ph_most"])
    try:
        set_effluent_limits(
            valid_from=said["valid_from"],
            limits=named,
            note=said["note"],
            at=timezone.now(),
            by=request.user,
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return False
    messages.success(request, f"These limits hold from {said['valid_from']:%Y-%m-%d}.")
    return True
