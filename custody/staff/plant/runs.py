"""Runs: a vessel is charged, and the page of a run. What leaves it is in ``run_events``. Cells have a page besides."""

from urllib.parse import urlencode

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.actions._post import Posted
from custody.actions.runs import Into, charge_vessel
from custody.calc.balance import total
from custody.calc.cell import METAL_OF
from custody.calc.fineness import format_percent
from custody.calc.mass import format_grams
from custody.calc.recipes import recipe_for, stations_of
from custody.calc.refusals import Refused
from custody.calc.rules import rule_for
from custody.calc.runs import Outlook, reagents_of
from custody.calc.safety import cautions_for
from custody.errors import Refusal
from custody.models import Lot, Place
from custody.queries import planner, plant, runs, scope, tanks
from custody.roles import Verb, may
from custody.staff.entry import Entry
from custody.staff.laboratory.solution_tables import SolutionAssays
from custody.staff.lines import LotIn, LotsIn
from custody.staff.plant.run_forms import STEPS, ChargeForm, LiquidRows
from custody.terms import COLUMNS, METALS, Addition, Kind, PlaceKind
from custody.web.access import needs
from custody.web.forms import rows_of
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn


class Reagents(BaseTable):
    caption = "Reagents for the metals charged, by equation and the plant's excess: advice, not a recipe"
    what = tables.Column("Reagent")
    mass = MassColumn("Pure", accessor="mg")
    volume = FigureColumn("Of the store's acid", unit="mL", accessor="volume_ml")
    per = tables.Column("For")
    metal = MassColumn("Metal", accessor="per_mg")
    factor = FigureColumn("Factor", unit="g/g")
    excess = FigureColumn("Excess", unit="%", accessor="excess_ppm")
    equation = tables.Column("Equation")

    class Meta:
        orderable = False

    def render_excess(self, value):
        return format_percent(value)


class Charged(LotsIn):
    """A vessel that holds something may be given reagent alone."""

    required = False
    note = "Scan each lot; Enter moves on. Blank where only an addition goes into what the vessel holds."


ChargedRows = rows_of(LotIn, Charged)


@needs(Verb.REFINE)
def charge(request: HttpRequest) -> HttpResponse:
    """Lots and additions go into a vessel; nothing is lost yet. What it holds already is charged together with them."""
    vessel = plant.places(PlaceKind.VESSEL).filter(code=request.GET.get("vessel", "")).first()
    entry = _charge_entry(request, vessel)
    done = entry.record(lambda: _charge(entry), "The charge")
    if done:
        return done
    chosen = getattr(entry.form, "cleaned_data", {}).get("vessel") or vessel
    content = plant.content_in(chosen, request.user) if chosen else None
    step = content.run.step if content else _step(entry.form["step"].value())
    context = entry.context(
        content=content,
        volume=tanks.volume_of(content) if content else None,
        columns=COLUMNS,
        cautions=_cautions(step),
        recipe=recipe_for(Kind(step)),
        step=step,
        step_links=[] if content else _step_links(request, step),
        reagents=_reagents(entry, step, content),
    )
    return render(request, "staff/plant/charge.html", context)


def _step_links(request: HttpRequest, step: str) -> list[Action]:
    """The page of each step, with the lots and the order that were asked for."""
    asked = request.GET.copy()
    found = []
    for value, label in STEPS:
        asked["step"] = value
        url = f"{reverse('charge')}?{asked.urlencode()}"
        found.append(Action(label=label.capitalize(), url=url, tone="main" if value == step else "quiet"))
    return found


def _charge_entry(request: HttpRequest, vessel: Place | None) -> Entry:
    sent = request.POST if request.method == "POST" else None
    begun = plant.content_in(vessel, request.user) if vessel else None
    step = begun.run.step if begun else _step(request.GET.get("step", ""))
    lots = [{"lot": lot} for lot in request.GET.getlist("lot")]
    rule = rule_for(Kind.CHARGE)
    adds = [{"what": what.value} | _of_water(what) for what in recipe_for(Kind(step)).adds]
    rows = {
        "in": ChargedRows(sent, prefix="in", initial=lots),
        "add": LiquidRows(sent, prefix="add", initial=adds, form_kwargs={"additions": rule.additions}),
    }
    form = ChargeForm(sent, initial={"vessel": vessel, "step": step})
    named = request.GET.getlist("lot")
    lots_named = scope.lots(request.user).filter(number__in=named) if named else ()
    asked = sent.get("step", step) if sent else step
    stations = stations_of(Kind(_step(asked)))
    form.fields["order"].offer(stations, request.user, number=request.GET.get("order", ""), lots=lots_named)
    return Entry(request, form, rows)


def _of_water(what: Addition) -> dict:
    return {"density": 1000} if what is Addition.WATER else {}


def _step(said: str) -> str:
    return said if said in dict(STEPS) else Kind.DISSOLVE.value


def _reagents(entry: Entry, step: str, content: Lot | None) -> Reagents | None:
    """For the metals of the lots named; where only reagents go in, for those that the vessel holds."""
    named = entry.going_in()
    metals = total(line.columns_mg for line in named)[1:] if named else content.metals_mg if content else ()
    fine = dict(zip(METALS, metals, strict=False))
    try:
        practice = planner.practice_of(planner.settings_on(timezone.localdate()))
        found = reagents_of(step, fine, forms={line.lot.form for line in named}, practice=practice)
    except Refused:
        return None
    return Reagents(found) if found else None


def _charge(entry: Entry) -> Posted:
    said = entry.form.cleaned_data
    if not any(entry.rows[name].filled for name in ("in", "add")):
        raise Refusal("Nothing is charged: scan a lot, or give an addition.").at("inputs")
    return charge_vessel(
        into=Into(said["vessel"], Kind(said["step"])),
        inputs=[row.take(entry.lots) for row in entry.rows["in"].filled],
        additions=tuple(row.add() for row in entry.rows["add"].filled),
        for_order=entry.form.fields["order"].for_order(said["order"]),
        **entry.head(),
    )


class RunOperations(BaseTable):
    caption = "What was recorded of this run"
    number = LotColumn(verbose_name="Operation", viewname="operation")
    kind = tables.Column("Kind")
    at = MomentColumn("When")
    by = tables.Column("By")
    reason = tables.Column("Reason")

    class Meta:
        orderable = False


class LosingTable(BaseTable):
    caption = "What a finish may declare lost or found of what was charged"
    empty_text = "The vessel holds no precious metal by the book."
    metal = tables.Column("Metal")
    held = MassColumn("In the vessel", accessor="held_mg")
    band = MassColumn("Usual, up to", accessor="band_mg")
    tolerance = MassColumn("With reason, up to", accessor="tolerance_mg")
    words = tables.Column("All lost needs")

    class Meta:
        orderable = False


@require_GET
@needs(Verb.READ_BOOK)
def run(request: HttpRequest, number: str) -> HttpResponse:
    """One run: what it holds, since when, its yield so far, and what was recorded of it."""
    content = get_object_or_404(plant.content_of_run(request.user), run__number=number)
    now, state = timezone.now(), plant.open_run(content)
    over = content.run.finished_by
    overdue = not over and state.overdue(now)
    context = {
        "content": content,
        "under": content.run.step,
        "status": "finished" if over else state.due_words(now),
        "tone": "good" if over else "stop" if overdue else "plain",
        "panels": _panels(content, state),
        "losing": None if over else LosingTable(runs.losing(content)),
        "operations": RunOperations(plant.operations_of(content.run, request.user)),
        "assays": _assays(request, content),
        "actions": [] if over else _next(request, content),
    }
    return render(request, "staff/plant/run.html", context)


def _assays(request: HttpRequest, content: Lot) -> SolutionAssays | None:
    found = list(tanks.assays(request.user).filter(lot__run=content.run)[:10])
    return SolutionAssays(found) if found else None


def _panels(content: Lot, state: plant.OpenRun) -> list[Panel]:
    work = runs.work_of(content.run)
    about = [
        Fact(label="Vessel", value=content.run.vessel, url=reverse("tank", kwargs={"code": content.run.vessel.code})),
        Fact(label="Content", value=content.number, url=reverse("lot", kwargs={"number": content.number})),
        Fact(label="Custodian", value=content.custodian),
        Fact(label="Opened", at=state.since),
    ]
    if content.run.step in METAL_OF:
        url = reverse("cell", kwargs={"number": content.run.number})
        about.append(Fact(label="Electrolysis", value="current and deposit", url=url))
    if work:
        url = reverse("route-order", kwargs={"number": work.order.number})
        about.append(Fact(label="Order", value=f"{work.order.number}, {work.station}", url=url))
    holds = [Fact(label=name, mg=mg) for name, mg in zip(("Gross", *METALS), content.columns_mg, strict=True)]
    if content.gross_mg:
        volume = tanks.volume_of(content)
        holds.append(Fact(label="Litres", value=f"{volume.litres}, {volume.how}"))
    panels = [Panel(title="The run", facts=about), Panel(title="In the vessel, by the book", facts=holds)]
    found = runs.outlook(content.run)
    return [*panels, yield_panel(found, content.run.step)] if found else panels


def yield_panel(found: Outlook, step: str) -> Panel:
    """The yield so far beside the rule's least, in words."""
    forms = " or ".join(form.label for form in rule_for(step).product_forms)
    word, tone = ("reached", "good") if found.reached else ("not yet reached", "wait")
    facts = [
        Fact(label=f"{found.metal} charged", mg=found.charged_mg),
        Fact(label=f"In {forms} so far", mg=found.made_mg),
        Fact(label="At least", mg=found.least_mg),
        Fact(label="Yield, %", value=format_percent(found.yield_ppm)),
        Fact(label="Least yield", value=word, tone=tone),
    ]
    short = format_grams(max(found.least_mg - found.made_mg, 0))
    note = "" if found.reached else f"{short} g short: a finish now needs a reason and a manager's countersignature."
    return Panel(title="Yield so far", facts=facts, note=note)


def _next(request: HttpRequest, content: Lot) -> list[Action]:
    of_run = {"number": content.run.number}
    found = []
    if may(request.user.roles, Verb.REFINE):
        again = f"{reverse('charge')}?{urlencode({'vessel': content.run.vessel.code})}"
        found = [
            Action(label="Draw a product", url=reverse("draw", kwargs=of_run), tone="main"),
            Action(label="Charge again", url=again),
            Action(label="Finish", url=reverse("finish", kwargs=of_run)),
        ]
    if may(request.user.roles, Verb.DETERMINE):
        found.append(Action(label="Assay the solution", url=reverse("solution", kwargs={"number": content.number})))
    return found


def _cautions(step: str) -> tuple:
    return cautions_for(Kind(step)) if step in set(Kind) else ()
