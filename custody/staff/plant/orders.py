"""Ordering a route by name, the page of an order with its charge, and its batch sheet."""

from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from custody.actions.issue_batch import issue_batch_sheet
from custody.actions.routes import order_route
from custody.calc.fineness import format_per_mille
from custody.calc.recipes import RECIPES, stations_of
from custody.calc.refusals import Refused
from custody.calc.route import STATIONS, Step
from custody.documents.fill_batch import acids_of, cautions_of, stages_of
from custody.errors import Refusal
from custody.models import Lot, PlantSettings, RouteOrder
from custody.queries import planner, scope
from custody.queries.reckoning import WANTED_PPM, Reckoning, reckon
from custody.queries.route_work import Progress, progress_of
from custody.roles import Verb, may, verb_of
from custody.staff.plant.addresses import address_of
from custody.staff.plant.run_forms import LONG
from custody.terms import Form
from custody.web.access import needs
from custody.web.forms import BaseForm, PerMilleField
from custody.web.lot_list import LotListField, lots_in
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn, StatusColumn

TONES = {"open": "wait", "begun": "wait", "worked": "good"}


class RouteForm(BaseForm):
    """Lots, wanted fineness and stations; the advised ones are ticked."""

    lots = LotListField(label="Lots", widget=forms.Textarea(attrs={"rows": 3}), help_text="One a line.")
    wanted = PerMilleField(label="Wanted gold, ‰", what="wanted fineness")
    steps = forms.MultipleChoiceField(
        label="Route", choices=[(step.value, step.label) for step in STATIONS], widget=forms.CheckboxSelectMultiple
    )
    note = forms.CharField(
        label="Note", required=False, max_length=500, help_text="A route other than the advised one says why."
    )


class OrderTable(BaseTable):
    caption = "Route orders"
    empty_text = "No route is ordered."
    number = LotColumn(verbose_name="Order", viewname="route-order")
    at = MomentColumn("Ordered")
    by = tables.Column("By", accessor="ordered_by")
    lots = tables.TemplateColumn(verbose_name="Lots", template_name="staff/plant/order_lots.html")
    gross = MassColumn("Gross", empty_values=())
    steps = tables.Column("Route")
    station = tables.Column("Station", empty_values=())
    word = StatusColumn(verbose_name="Standing", tones=TONES, empty_values=())

    class Meta:
        orderable = False

    def render_station(self, record):
        standing = planner.standing_of(record)
        return progress_of(record).words if standing.open else "—"

    def render_gross(self, record, column):
        return column.show(sum(line.gross_mg for line in record.lines.all()))

    def render_steps(self, value):
        return ", then ".join(value)

    def render_word(self, record, column):
        return column.render(planner.standing_of(record).word)


class OrderLots(BaseTable):
    caption = "Lots as they were ordered"
    lot = LotColumn(verbose_name="Lot", accessor="lot__number")
    form = tables.Column("Form", accessor="lot__get_form_display")
    gross = MassColumn("Gross", accessor="gross_mg")
    gold = MassColumn("Au", accessor="au_mg")
    silver = MassColumn("Ag", accessor="ag_mg")
    copper = MassColumn("Cu", accessor="cu_mg")
    now = MassColumn("Gross now", accessor="lot__gross_mg")
    keeper = tables.Column("Custodian", accessor="lot__custodian", default="—")
    place = tables.Column("Place", accessor="lot__place", default="—")

    class Meta:
        orderable = False


class Stations(BaseTable):
    caption = "Stations, and what was recorded there"
    name = tables.Column("Station")
    word = tables.TemplateColumn(verbose_name="Standing", template_name="staff/plant/station_word.html")
    works = tables.TemplateColumn(verbose_name="Work", template_name="staff/plant/station_works.html")

    class Meta:
        orderable = False


class Products(BaseTable):
    caption = "Made on this order, and not used up"
    empty_text = "Nothing yet."
    lot = LotColumn(verbose_name="Lot", accessor="number")
    form = tables.Column("Form", accessor="get_form_display")
    gross = MassColumn("Gross", accessor="gross_mg")
    gold = MassColumn("Au", accessor="au_mg")
    silver = MassColumn("Ag", accessor="ag_mg")
    copper = MassColumn("Cu", accessor="cu_mg")

    class Meta:
        orderable = False


class Charges(BaseTable):
    """Reagents of the stages, as the batch sheet has them."""

    caption = "Charge"
    empty_text = "This route takes no reagents that are reckoned."
    step = tables.Column("Step")
    what = tables.Column("Reagent")
    equation = tables.Column("Equation")
    metal = tables.Column("On", accessor="per")
    on = MassColumn("On", accessor="per_mg")
    factor = FigureColumn("Factor", unit="g per g")
    excess = FigureColumn("Excess", accessor="excess_ppm", unit="%")
    pure = MassColumn("Pure", accessor="mg")
    volume = FigureColumn("Acid", accessor="volume_ml", unit="mL")

    class Meta:
        orderable = False

    def render_excess(self, value):
        return str(value // 10_000)


@needs(Verb.ORDER_ROUTE)
def order_new(request: HttpRequest) -> HttpResponse:
    """The route of some lots, advised, and ordered by whoever signs in here."""
    sent = request.POST if request.method == "POST" else None
    found, wanted = _asked(request)
    advised = [str(step) for step in found.advice.steps] if found and found.advice else []
    lots = "\n".join(one.lot.number for one in found.lots) if found else ""
    form = RouteForm(sent, initial={"lots": lots, "wanted": wanted, "steps": advised})
    if sent is not None and form.is_valid():
        named = lots_in(form, "lots", request.user)
        if not form.errors:
            made = _order(request, form, [lot.number for lot in named])
            if made:
                messages.success(request, f"{made.number} is ordered, by {request.user}.")
                return redirect("route-order", number=made.number)
    if sent is not None:
        found = _reckoned(request, form)
    return render(request, "staff/plant/route_order_new.html", {"form": form, "found": found})


def _asked(request: HttpRequest) -> tuple[Reckoning | None, int]:
    """What the address names: lots, and the wanted fineness."""
    try:
        wanted = PerMilleField(required=False).clean(request.GET.get("wanted", "")) or WANTED_PPM
    except forms.ValidationError:
        wanted = WANTED_PPM
    numbers = [number for number in request.GET.getlist("lot") if "\0" not in number][:200]
    found = scope.lots(request.user).filter(number__in=numbers).select_related("owner", "custodian", "place")
    return _reckon(request, list(found.order_by("id")), wanted), wanted


def _reckoned(request: HttpRequest, form: RouteForm) -> Reckoning | None:
    """What the lots of the form come to, as far as they can be read."""
    codes = form.cleaned_data.get("lots") or []
    found = scope.lots(request.user).filter(number__in=codes).select_related("owner", "custodian", "place")
    return _reckon(request, list(found.order_by("id")), form.cleaned_data.get("wanted") or WANTED_PPM)


def _reckon(request: HttpRequest, lots: list[Lot], wanted: int) -> Reckoning | None:
    if not lots:
        return None
    settings = planner.settings_on(timezone.localdate())
    return reckon(lots, (), wanted_ppm=wanted, settings=settings, viewer=request.user)


def _order(request: HttpRequest, form: RouteForm, lots: list[str]) -> RouteOrder | None:
    said = form.cleaned_data
    try:
        return order_route(
            lots=lots,
            steps=[Step(step) for step in said["steps"]],
            wanted_ppm=said["wanted"],
            note=said["note"],
            at=timezone.now(),
            by=request.user,
            request_key=said["request_key"],
        )
    except (Refusal, Refused) as refusal:
        form.refuse(refusal)
        return None


@require_GET
@needs(Verb.READ_BOOK)
def order(request: HttpRequest, number: str) -> HttpResponse:
    """One order: who ordered what for which lots, why, and what it takes."""
    one = get_object_or_404(planner.orders(request.user), number=number)
    standing = planner.standing_of(one)
    stages = stages_of(one)
    lines = [_charge(stage.title, line) for stage in stages for line in stage.reagents]
    progress = progress_of(one)
    context = {
        "order": one,
        "standing": standing,
        "stations": Stations(progress.stations),
        "products": Products(progress.products),
        "next": _next(request, one, progress) if standing.open else None,
        "panel": _facts(one),
        "lots": OrderLots(one.lines.all()),
        "charges": Charges(lines),
        "notes": [(stage.title, stage.note) for stage in stages if stage.note],
        "cautions": cautions_of(stages),
        "papers": planner.papers_of(one, request.user),
        "actions": _actions(request, one),
    }
    return render(request, "staff/plant/route_order.html", context)


def _charge(title: str, line) -> dict:
    names = ("what", "equation", "per", "per_mg", "factor", "excess_ppm", "mg", "volume_ml")
    return {"step": title} | {name: getattr(line, name) for name in names}


def _facts(one: RouteOrder) -> Panel:
    facts = [
        Fact(label="Ordered by", value=str(one.ordered_by)),
        Fact(label="When", at=one.at),
        Fact(label="Route", value=", then ".join(one.steps)),
        Fact(label="Wanted gold, ‰", value=format_per_mille(one.wanted_ppm)),
        Fact(label="Silver to add", mg=one.silver_to_add_mg),
        Fact(label="Acids", value=acids_of(one.settings or PlantSettings())),
    ]
    if one.steps != one.advised:
        facts.insert(3, Fact(label="Advised was", value=", then ".join(one.advised)))
    if one.note:
        facts.append(Fact(label="Note", value=one.note))
    return Panel(title="Order", facts=facts)


def _next(request: HttpRequest, one: RouteOrder, progress: Progress) -> Panel:
    """Where the work goes on: runs under way, then steps of the next station and of the one at hand, with the lots."""
    left = list(progress.products) or [line.lot for line in one.lines.all() if line.lot.gross_mg]
    roles = request.user.roles
    found = {}
    for lot in left:
        if lot.form == Form.IN_PROCESS:
            found[f"Run {lot.run.number}"] = reverse("run", kwargs={"number": lot.run.number})
    for station in filter(None, (progress.next, progress.at)):
        for kind in RECIPES:
            lots = [lot.number for lot in left if lot.form in RECIPES[kind].takes]
            if station not in stations_of(kind) or not lots or not may(roles, verb_of(kind)):
                continue
            found.setdefault(RECIPES[kind].title, address_of(kind, lots, order=one.number))
            if kind in LONG:
                asked = urlencode([*(("lot", lot) for lot in lots), ("step", str(kind)), ("order", one.number)])
                found.setdefault(f"{RECIPES[kind].title}, as a run", f"{reverse('charge')}?{asked}")
    actions = [
        Action(label=label, url=url, tone="quiet" if number else "main")
        for number, (label, url) in enumerate(found.items())
    ]
    said = f"Next is {progress.next}." if progress.next else "Every station was worked."
    return Panel(title="What comes next", actions=actions, note=said)


def _actions(request: HttpRequest, one: RouteOrder) -> list[Action]:
    if not may(request.user.roles, Verb.ORDER_ROUTE):
        return []
    label = "Print the sheet again" if planner.papers_of(one, request.user) else "Issue the batch sheet"
    sheet = reverse("batch-sheet", kwargs={"number": one.number})
    fates = f"{reverse('fates')}?{urlencode({'order': one.number})}"
    return [
        Action(label=label, url=sheet, method="post", tone="main"),
        Action(label="Where it all went", url=fates),
    ]


@require_GET
@needs(Verb.READ_BOOK)
def orders(request: HttpRequest) -> HttpResponse:
    """Every order, the latest first."""
    table = OrderTable(planner.orders(request.user))
    tables.RequestConfig(request, paginate={"per_page": 40}).configure(table)
    plans = any(may(request.user.roles, verb) for verb in (Verb.ORDER_ROUTE, Verb.REFINE))
    actions = [Action(label="Plan a batch", url=reverse("planner"))] if plans else []
    return render(request, "staff/plant/route_orders.html", {"table": table, "actions": actions})


@require_POST
@needs(Verb.ORDER_ROUTE)
def issue_sheet(request: HttpRequest, number: str) -> HttpResponse:
    """Issues the batch sheet; each print is a numbered copy."""
    one = get_object_or_404(planner.orders(request.user), number=number)
    paper = issue_batch_sheet(order=one, at=timezone.now(), by=request.user)
    copy = f", copy {paper.copy_no}" if paper.copy_no > 1 else ""
    messages.success(request, f"{paper.title}{copy} is issued: open it under “Papers”.")
    return redirect("route-order", number=one.number)
