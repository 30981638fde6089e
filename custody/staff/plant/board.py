"""The plant's board: what is where, since when, how much of it, what is overdue; and what the viewer may work."""

from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.calc.cell import METAL_OF
from custody.models import Lot, Run
from custody.queries import board as queries
from custody.queries import planner, plant
from custody.roles import Verb, may
from custody.staff.plant.orders import OrderTable
from custody.staff.plant.step import WORKERS
from custody.terms import COLUMNS, METALS, Clearance, PlaceKind
from custody.web.access import needs
from custody.web.forms import KitForm
from custody.web.lot_field import book_of, lots_by_code
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, LotColumn, MassColumn, MomentColumn, StatusColumn

#: Columns that a card always shows; others where there is any.
SHOWN = ("gross", "Au", "Ag", "Cu")

TONES = {Clearance.RELEASED: "good", Clearance.AWAITING: "wait", Clearance.HELD: "stop"}


class PlantLots(BaseTable):
    """Lots; metals of a lot that is not valued are not known, and shown as a dash."""

    lot = LotColumn(verbose_name="Lot", accessor="number")
    form = tables.Column("Form", accessor="get_form_display", orderable=False)
    standing = StatusColumn(verbose_name="Clearance", accessor="clearance", tones=TONES)
    place = tables.Column("Place", accessor="place", orderable=False)
    gross = MassColumn("Gross", accessor="gross_mg")
    gold = MassColumn("Au", accessor="au_mg")
    silver = MassColumn("Ag", accessor="ag_mg")

    def render_gold(self, value, record, column):
        return column.show(value if record.valued else None)

    def render_silver(self, value, record, column):
        return column.show(value if record.valued else None)


class StandingLots(PlantLots):
    caption = "Lots one by one"
    empty_text = "No lot stands there, beside what is in process."
    since = MomentColumn("Untouched since", accessor="last_at")
    place = tables.Column("Place", accessor="place__code", orderable=False)

    class Meta:
        sequence = ("lot", "form", "place", "standing", "...", "since")


class ReadyLots(PlantLots):
    caption = "Ready to work: in your custody and released"
    empty_text = "Nothing is ready. Lots come to you by a handover, and compliance releases them."
    take = tables.TemplateColumn(verbose_name="Take", template_name="staff/plant/take.html", orderable=False)

    class Meta:
        orderable = False
        sequence = ("lot", "form", "standing", "...", "take")


class WaitingLots(ReadyLots):
    caption = "In your custody, not yet released"
    empty_text = "Nothing waits."


class StandsForm(KitForm):
    """Which place?"""

    mark_optional = False
    place = forms.ModelChoiceField(label="Place", queryset=None, required=False, empty_label="every place")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["place"].queryset = plant.places(*plant.PLANT)


class ScanForm(KitForm):
    """A lot to work, or a vessel or run to look into."""

    mark_optional = False
    # Not a ScanField: there Enter moves on to the next field, here it sends.
    lot = forms.CharField(
        label="Scan a lot, vessel or run",
        required=False,
        max_length=200,
        widget=forms.TextInput(attrs={"class": "mark", "autocomplete": "off", "autocapitalize": "off"}),
    )


@dataclass(frozen=True, slots=True)
class Card:
    """One place on the board; ``rows`` are lots with the word that says whether they wait too long."""

    kind: str
    title: str
    word: str
    tone: str
    facts: tuple[Fact, ...]
    url: str
    rows: tuple[tuple[Lot, bool], ...] = ()
    more: str = ""
    more_url: str = ""


#: Kinds of place in the order of the metal's way, and what a card calls them; a vault is told in total.
KINDS = {
    PlaceKind.VESSEL: "vessel, cell or tank",
    PlaceKind.FURNACE: "furnace",
    PlaceKind.WORKSHOP: "workshop",
    PlaceKind.LABORATORY: "laboratory",
    PlaceKind.STRONGROOM: "strongroom",
    PlaceKind.COUNTER: "counter",
    PlaceKind.VAULT: "vault, in total",
}


@require_GET
@needs(Verb.READ_BOOK)
def board(request: HttpRequest) -> HttpResponse:
    """Where everything is, what is under way, what waits for the viewer. Asked about a lot, the steps it may take."""
    led = _scanned(request)
    if led:
        return led
    now = timezone.now()
    places = queries.standing(request.user, now)
    where = StandsForm(request.GET or None)
    lots = plant.lots_by_place(request.user)
    if where.is_valid() and where.cleaned_data["place"]:
        lots = lots.filter(place=where.cleaned_data["place"])
    table = StandingLots(lots, prefix="stands-")
    tables.RequestConfig(request, paginate={"per_page": 40}).configure(table)
    works = [verb for verb in (Verb.MELT, Verb.REFINE, Verb.CAST) if may(request.user.roles, verb)]
    overdue = sum(one.overdue(now) for one in places)
    context = {
        "now": now,
        "scan": ScanForm(),
        "totals": _totals(places),
        "cards": [_card(one, now) for one in _in_order(places) if not one.empty],
        "empty": ", ".join(one.place.code for one in _in_order(places) if one.empty),
        "overdue": f"overdue at {overdue} place{'' if overdue == 1 else 's'}" if overdue else "",
        "standing": table,
        "orders": OrderTable(planner.open_orders(request.user), prefix="orders-"),
        "where": where,
        "asked": bool(request.GET),
        "actions": _actions(request),
        "works": works,
    }
    if works:
        context["ready"] = _custody(ReadyLots, plant.ready_to_work(request.user), "ready-", request)
        waiting = plant.waiting_for_release(request.user)
        context["waiting"] = _custody(WaitingLots, waiting, "waits-", request)
    return render(request, "staff/plant/board.html", context)


def _scanned(request: HttpRequest) -> HttpResponse | None:
    """A run's number and a vessel's code lead to the run; a lot to the steps that the viewer may record of it."""
    code = request.GET.get("lot", "").strip()
    if not code:
        return None
    for state in plant.open_runs(request.user):
        if code.casefold() in (state.run.number.casefold(), state.run.vessel.code.casefold()):
            return redirect(_run_url(state.run))
    if any(may(request.user.roles, verb) for verb in WORKERS):
        return redirect(f"{reverse('steps')}?{urlencode({'lot': code})}")
    return None


def _run_url(run: Run) -> str:
    return reverse("cell" if run.step in METAL_OF else "run", args=[run.number])


def _totals(places: list[queries.Standing]) -> Panel:
    """What the book has in the house, as the sum of the places below."""
    sums = queries.totals(places)
    facts = [Fact(label=name, mg=mg) for name, mg in zip(("Gross", *METALS), sums, strict=True)]
    shown = [fact for fact in facts if fact.label in ("Gross", "Au", "Ag", "Cu") or fact.mg]
    unvalued = sum(one.unvalued_mg for one in places)
    if unvalued:
        shown.append(Fact(label="Of the gross not valued yet", mg=unvalued))
    return Panel(title="In the house", facts=shown, note="The sum of the places below: the whole book at this moment.")


def _in_order(places: list[queries.Standing]) -> list[queries.Standing]:
    order = list(KINDS)
    return sorted(places, key=lambda one: order.index(PlaceKind(one.place.kind)))


def _card(one: queries.Standing, now: datetime) -> Card:
    metals = dict(zip(COLUMNS, one.columns_mg, strict=True))
    facts = [Fact(label=name.capitalize(), mg=metals[name]) for name in COLUMNS if name in SHOWN or metals[name]]
    if one.unvalued_mg:
        facts.append(Fact(label="Of it not valued", mg=one.unvalued_mg))
    facts.append(Fact(label="Custodian", value=", ".join(one.keepers)))
    word, tone = "", "plain"
    if one.run:
        step = Fact(label=f"Run, {one.run.run.step}", value=one.run.run.number, url=_run_url(one.run.run))
        facts = [step, Fact(label="Since", at=one.run.since), *facts]
        word, tone = one.run.due_words(now), "stop" if one.run.overdue(now) else "plain"
    elif one.late:
        word, tone = f"{one.late} waiting too long", "wait"
    lots = one.count - bool(one.run)
    if lots and not one.run:
        facts.insert(0, Fact(label="Lots", value=lots))
    vault = one.place.kind == PlaceKind.VAULT
    hidden = 0 if vault else lots - len(one.lots)
    return Card(
        kind=KINDS[PlaceKind(one.place.kind)],
        title=str(one.place),
        word=word,
        tone=tone,
        facts=tuple(facts),
        url=reverse("tank" if one.place.kind == PlaceKind.VESSEL else "vault-place", args=[one.place.code]),
        rows=tuple((lot, queries.late_lot(lot, now)) for lot in one.lots),
        more=f"All {lots} lots" if hidden > 0 else "",
        more_url=f"?{urlencode({'place': one.place.pk})}#lots",
    )


def _custody(table_of: type[PlantLots], lots, prefix: str, request: HttpRequest) -> PlantLots:
    table = table_of(lots, prefix=prefix)
    tables.RequestConfig(request, paginate={"per_page": 20}).configure(table)
    return table


#: What is done from here: label, address, and the verbs of which one is needed. A part of the plant adds its line.
ACTIONS: tuple[tuple[str, str, tuple[Verb, ...]], ...] = (
    ("Record a step", "steps", (Verb.MELT, Verb.REFINE, Verb.CAST)),
    ("Plan a batch", "planner", (Verb.ORDER_ROUTE, Verb.REFINE)),
    ("Route orders", "route-orders", (Verb.READ_BOOK,)),
    ("Charge a vessel", "charge", (Verb.REFINE,)),
    ("Vessels and tanks", "tanks", (Verb.READ_BOOK,)),
    ("Water", "water", (Verb.READ_BOOK,)),
    ("Cells", "cells", (Verb.READ_BOOK,)),
    ("Bars", "bars", (Verb.READ_BOOK,)),
    ("Hand over lots", "handover", (Verb.HAND_OVER,)),
    ("The day's flow", "day-flow", (Verb.READ_BOOK,)),
    ("Where it all went", "fates", (Verb.TRACE, Verb.ORDER_ROUTE)),
)


def _actions(request: HttpRequest) -> list[Action]:
    allowed = [Action(label="Refresh", url=reverse("plant"))]
    for label, name, verbs in ACTIONS:
        if any(may(request.user.roles, verb) for verb in verbs):
            allowed.append(Action(label=label, url=reverse(name)))
    return allowed


@require_GET
@needs(Verb.READ_BOOK)
def lot_book(request: HttpRequest) -> JsonResponse:
    """What the book says of one lot, for the page's script; a number the book lacks is an answer, too."""
    code = request.GET.get("code", "").strip()
    found = lots_by_code([code], request.user)
    return JsonResponse(book_of(found.get(code), code, request.user).as_json())
