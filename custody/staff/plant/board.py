"""The plant's board: open runs, what the viewer may work, every lot where it stands; and the book of one lot."""

from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.queries import planner, plant
from custody.roles import Verb, may
from custody.staff.plant.orders import OrderTable
from custody.staff.plant.step import WORKERS
from custody.terms import Clearance
from custody.web.access import needs
from custody.web.forms import KitForm
from custody.web.lot_field import book_of, lots_by_code
from custody.web.panels import Action
from custody.web.tables import BaseTable, LotColumn, MassColumn, MomentColumn, StatusColumn

TONES = {Clearance.RELEASED: "good", Clearance.AWAITING: "wait", Clearance.HELD: "stop"}


class RunTable(BaseTable):
    caption = "Open runs"
    empty_text = "No run is open."
    number = LotColumn(verbose_name="Run", viewname="run", accessor="run__number")
    step = tables.Column("Step", accessor="run__step")
    vessel = tables.Column("Vessel", accessor="run__vessel__code")
    keeper = tables.Column("Custodian", accessor="content__custodian")
    since = MomentColumn("Since", accessor="since")
    gross = MassColumn("Gross", accessor="content__gross_mg")
    gold = MassColumn("Au", accessor="content__au_mg")
    silver = MassColumn("Ag", accessor="content__ag_mg")
    due = tables.TemplateColumn(verbose_name="Time", template_name="staff/plant/due.html", orderable=False)

    class Meta:
        orderable = False


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
    caption = "Lots in the plant"
    empty_text = "No lot stands there."
    keeper = tables.Column("Custodian", accessor="custodian", orderable=False)

    class Meta:
        sequence = ("lot", "form", "place", "keeper", "standing", "...")


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


@require_GET
@needs(Verb.READ_BOOK)
def board(request: HttpRequest) -> HttpResponse:
    """Where everything is, what is under way, what waits for the viewer. Asked about a lot, the steps it may take."""
    if request.GET.get("lot") and any(may(request.user.roles, verb) for verb in WORKERS):
        return redirect(f"{reverse('steps')}?{urlencode({'lot': request.GET['lot']})}")
    now = timezone.now()
    runs = plant.open_runs(request.user)
    where = StandsForm(request.GET or None)
    standing = plant.lots_by_place(request.user)
    if where.is_valid() and where.cleaned_data["place"]:
        standing = standing.filter(place=where.cleaned_data["place"])
    table = StandingLots(standing, prefix="stands-")
    tables.RequestConfig(request, paginate={"per_page": 40}).configure(table)
    works = [verb for verb in (Verb.MELT, Verb.REFINE, Verb.CAST) if may(request.user.roles, verb)]
    overdue = sum(run.overdue(now) for run in runs)
    context = {
        "runs": RunTable([_row(run, now) for run in runs], prefix="runs-"),
        "overdue": f"{overdue} run{'' if overdue == 1 else 's'} overdue" if overdue else "",
        "standing": table,
        "orders": OrderTable(planner.open_orders(request.user), prefix="orders-"),
        "where": where,
        "actions": _actions(request),
        "works": works,
    }
    if works:
        context["ready"] = _custody(ReadyLots, plant.ready_to_work(request.user), "ready-", request)
        waiting = plant.waiting_for_release(request.user)
        context["waiting"] = _custody(WaitingLots, waiting, "waits-", request)
    return render(request, "staff/plant/board.html", context)


def _custody(table_of: type[PlantLots], lots, prefix: str, request: HttpRequest) -> PlantLots:
    table = table_of(lots, prefix=prefix)
    tables.RequestConfig(request, paginate={"per_page": 20}).configure(table)
    return table


def _row(state: plant.OpenRun, now) -> dict:
    return {
        "run": state.run,
        "content": state.content,
        "since": state.since,
        "overdue": state.overdue(now),
        "due": state.due_words(now),
    }


def _actions(request: HttpRequest) -> list[Action]:
    found = (
        ("Record a step", "steps", (Verb.MELT, Verb.REFINE, Verb.CAST)),
        ("Plan a batch", "planner", (Verb.ORDER_ROUTE, Verb.REFINE)),
        ("Route orders", "route-orders", (Verb.READ_BOOK,)),
        ("Charge a vessel", "charge", (Verb.REFINE,)),
        ("Cast bars", "cast", (Verb.CAST,)),
        ("Hand over lots", "handover", (Verb.HAND_OVER,)),
    )
    allowed = [(label, name) for label, name, verbs in found if any(may(request.user.roles, verb) for verb in verbs)]
    return [Action(label=label, url=reverse(name)) for label, name in allowed]


@require_GET
@needs(Verb.READ_BOOK)
def lot_book(request: HttpRequest) -> JsonResponse:
    """What the book says of one lot, for the page's script; a number the book lacks is an answer, too."""
    code = request.GET.get("code", "").strip()
    found = lots_by_code([code], request.user)
    return JsonResponse(book_of(found.get(code), code, request.user).as_json())
