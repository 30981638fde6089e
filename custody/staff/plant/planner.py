"""The batch planner: lots are ticked or scanned, and the page says what they come to, and which way they go."""

from collections.abc import Iterable
from datetime import timedelta
from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.calc.blend import Proposal
from custody.calc.fineness import format_per_mille
from custody.models import Lot, User
from custody.queries import planner, scope
from custody.queries.reckoning import WANTED_PPM, Reckoning, proposal, reckon
from custody.roles import Verb, may
from custody.terms import PPM, CustodyModel
from custody.web.access import needs
from custody.web.forms import CountField, KitForm, PerMilleField
from custody.web.lot_list import LotListField, lots_in
from custody.web.panels import Action
from custody.web.tables import BaseTable, FinenessColumn, LotColumn, MassColumn

#: So many lots are listed at once, the oldest first; a narrower question or the scanner finds the others.
MOST = 150


class Choosing(BaseTable):
    """Lots that could be worked, each with a tick."""

    caption = "Released and valued lots in the plant"
    empty_text = "No such lot. Ask for fewer conditions, or scan the lot."
    lot = LotColumn(verbose_name="Lot", accessor="number")
    tick = tables.TemplateColumn(verbose_name="Take", template_name="staff/plant/plan_tick.html")
    form = tables.Column("Form", accessor="get_form_display")
    owner = tables.Column("Owner", accessor="owner__code", default="the house")
    model = tables.Column("Custody model", accessor="get_custody_model_display")
    gross = MassColumn("Gross", accessor="gross_mg")
    gold = FinenessColumn("Au", accessor="au_mg")
    silver = FinenessColumn("Ag", accessor="ag_mg")
    age = tables.Column(
        "Age, days", accessor="created_by__at", attrs={"td": {"class": "mass"}, "th": {"class": "mass"}}
    )
    keeper = tables.Column("Custodian", accessor="custodian")

    class Meta:
        orderable = False
        row_attrs = {"data-codes": lambda record: record.number.upper()}

    def __init__(self, *args, ticked: Iterable[str] = (), **kwargs):
        self.ticked = frozenset(ticked)
        super().__init__(*args, **kwargs)

    def render_owner(self, value, record):
        return "pooled" if record.pooled else value

    def render_gold(self, value, record, column):
        return column.show(value * PPM // record.gross_mg)

    render_silver = render_gold

    def render_age(self, value):
        return str((timezone.now() - value).days)


class PlanForm(KitForm):
    """Which lots are listed, which are scanned besides those ticked, and how fine the gold is wanted."""

    mark_optional = False
    whose = forms.ChoiceField(
        label="Lots", choices=[("all", "in the plant"), ("mine", "in my custody")], required=False
    )
    owner = forms.ChoiceField(label="Owner", required=False)
    model = forms.ChoiceField(
        label="Custody model", choices=[("", "every model"), *CustodyModel.choices()], required=False
    )
    least_gold = PerMilleField(label="Au at least, ‰", required=False, zero=True)
    most_silver = PerMilleField(label="Ag at most, ‰", required=False, zero=True)
    older = CountField(label="Here for days, at least", what="number of days", required=False, zero=True)
    wanted = PerMilleField(label="Wanted gold, ‰", what="wanted fineness", required=False)
    scanned = LotListField(
        label="Scan lots", required=False, widget=forms.Textarea(attrs={"rows": 2, "data-tick": True}),
        help_text="One a line. What stands in the list is ticked; what does not stays here and is reckoned too.",
    )  # fmt: skip

    def __init__(self, data, *, viewer: User):
        asked = QueryDict(mutable=True)
        asked.update({"whose": "mine" if may(viewer.roles, Verb.REFINE) else "all"})
        asked.update({"wanted": format_per_mille(WANTED_PPM)})
        for name in data:
            if data.get(name) or name not in asked:
                asked.setlist(name, data.getlist(name))
        super().__init__(asked)
        owners = planner.candidates(viewer).order_by("owner__code").values_list("owner__code", "owner__name").distinct()
        known = [(code, f"{code} {name}") for code, name in owners if code]
        self.fields["owner"].choices = [("", "every owner"), ("-", "the house or pooled"), *known]


@require_GET
@needs(Verb.READ_BOOK)
def plan(request: HttpRequest) -> HttpResponse:
    """What could be worked, and what the lots chosen come to; asked to, a blend within the limits is chosen."""
    form = PlanForm(request.GET, viewer=request.user)
    form.is_valid()
    settings = planner.settings_on(timezone.localdate())
    listed = _narrowed(form, request.user)
    chosen = _chosen(request, form)
    left_out: dict[str, str] = {}
    proposed: Proposal | None = None
    asked = bool(chosen) or "reckon" in request.GET
    if "propose" in request.GET and not form.errors:
        chosen, proposed, left_out = proposal(chosen or listed, settings)
        asked = True
    wanted = form.cleaned_data.get("wanted") or WANTED_PPM
    found = reckon(chosen, listed, wanted_ppm=wanted, settings=settings, viewer=request.user) if asked else None
    _keep_unlisted(form, chosen, listed)
    context = {
        "form": form,
        "table": Choosing(listed, ticked=[lot.number for lot in chosen]),
        "found": found,
        "left_out": left_out,
        "proposed": proposed,
        "settings": settings,
        "actions": [Action(label="Plant settings", url=reverse("plant-settings"))],
        "order_url": _order_url(request, found, wanted),
    }
    return render(request, "staff/plant/planner.html", context)


def _keep_unlisted(form: PlanForm, chosen: list[Lot], listed: list[Lot]) -> None:
    """Chosen lots without a tick in the list stay in the scanner's field, so that asking again does not lose them."""
    if "scanned" not in form.errors:
        ticked = {lot.pk for lot in listed}
        form.data["scanned"] = "\n".join(lot.number for lot in chosen if lot.pk not in ticked)


def _order_url(request: HttpRequest, found: Reckoning | None, wanted: int) -> str:
    if found is None or not found.orderable or not may(request.user.roles, Verb.ORDER_ROUTE):
        return ""
    asked = [("lot", one.lot.number) for one in found.lots] + [("wanted", format_per_mille(wanted))]
    return f"{reverse('route-order-new')}?{urlencode(asked)}"


def _chosen(request: HttpRequest, form: PlanForm) -> list[Lot]:
    """The ticked lots and those scanned, each once; what is unknown is said at the field."""
    ticked = [number for number in request.GET.getlist("lot") if "\0" not in number][:200]
    scanned = lots_in(form, "scanned", request.user)
    found = scope.lots(request.user).filter(number__in=[*ticked, *(lot.number for lot in scanned)])
    return list(found.select_related("owner", "custodian", "place", "created_by").order_by("id"))


def _narrowed(form: PlanForm, viewer: User) -> list[Lot]:
    said = form.cleaned_data
    found = planner.candidates(viewer)
    if said.get("whose") == "mine":
        found = found.filter(custodian=viewer)
    if said.get("owner") == "-":
        found = found.filter(owner=None)
    elif said.get("owner"):
        found = found.filter(owner__code=said["owner"])
    if said.get("model"):
        found = found.filter(custody_model=said["model"])
    if said.get("older"):
        found = found.filter(created_by__at__lte=timezone.now() - timedelta(days=min(said["older"], 36_500)))
    return list(planner.within(found, said.get("least_gold"), said.get("most_silver"))[:MOST])
