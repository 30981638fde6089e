"""What is in the vault and at every other place."""

from urllib.parse import urlencode

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from custody.models import Place, User
from custody.queries import gate, handovers, holdings
from custody.queries import vault as queries
from custody.roles import Verb, may
from custody.staff.vault import tables as vault_tables
from custody.staff.vault.vault_tables import AccessTable, CountTable, StandingTable
from custody.terms import PlaceKind
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

LOTS_A_PAGE = 50
DISPATCHES_SHOWN = 10
HANDOVERS_SHOWN = 10
COUNTS_SHOWN = 10
ACCESSES_SHOWN = 5


@require_safe
@needs(Verb.READ_BOOK)
def vault(request: HttpRequest) -> HttpResponse:
    """The desk's first page; a lot that is named (``?lot=``) is about to be handed over."""
    viewer = request.user
    lot = request.GET.get("lot", "").strip()
    if lot and may(viewer.roles, Verb.HAND_OVER):
        return redirect(f"{reverse('handover')}?{urlencode({'lot': lot})}")
    found = holdings.holdings(viewer)
    metals = holdings.metals_of(found)
    names = [metal.metal for metal in metals]
    standings = queries.standings(viewer)
    places = vault_tables.PlaceTable(
        found,
        counted=queries.last_counted(viewer),
        extra_columns=vault_tables.kilograms_of(names),
        sequence=("...", "unvalued", "counted"),
    )
    return render(
        request,
        "staff/vault/vault.html",
        {
            "actions": _actions(viewer),
            "standings": StandingTable(standings) if standings else None,
            "metal": vault_tables.MetalTable(metals),
            "sizes": [(one.place, _sizes(viewer, one.place)) for one in found if one.place.kind == PlaceKind.VAULT],
            "places": places,
            "dispatches": vault_tables.DispatchTable(gate.dispatches(viewer)[:DISPATCHES_SHOWN]),
        },
    )


@require_safe
@needs(Verb.READ_BOOK)
def place(request: HttpRequest, code: str) -> HttpResponse:
    """One place: its metal, its bars by size, its other lots."""
    viewer = request.user
    one = get_object_or_404(Place, code=code)
    lots = vault_tables.LotTable(holdings.lots_at(viewer, one).filter(bar__isnull=True), prefix="lots-")
    bars = holdings.bars_at(viewer, one)
    bar_table = vault_tables.BarTable(bars, prefix="bars-")
    for table in (lots, bar_table):
        tables.RequestConfig(request, paginate={"per_page": LOTS_A_PAGE}).configure(table)
    latest = handovers.latest(viewer, one, HANDOVERS_SHOWN)
    here = [holding for holding in holdings.holdings(viewer) if holding.place == one]
    standing = queries.standing_of(viewer, one)
    by_two = one.two_person or standing.access is not None
    return render(
        request,
        "staff/vault/place.html",
        {
            "place": one,
            "kind": PlaceKind(one.kind).label.capitalize(),
            "actions": _actions_at(standing, viewer, bool(here)),
            "standing": standing if by_two else None,
            "counts": CountTable(queries.counts(viewer).filter(place=one)[:COUNTS_SHOWN]),
            "accesses": AccessTable(queries.accesses_of(viewer, one)[:ACCESSES_SHOWN]) if by_two else None,
            "panel": _panel(here),
            "metal": vault_tables.PlaceMetalTable(holdings.metals_of(here)),
            "sizes": vault_tables.SizeTable(holdings.by_size(bars)),
            "bars": bar_table if bars else None,
            "lots": lots,
            "handovers": vault_tables.HandoverTable(latest) if latest else None,
        },
    )


def _sizes(viewer: User, one: Place) -> vault_tables.SizeTable:
    sizes = holdings.by_size(holdings.bars_at(viewer, one))
    table = vault_tables.SizeTable(sizes)
    table.caption = f"Bars in {one.name}"
    return table


def _actions(viewer: User) -> list[Action]:
    found = []
    if may(viewer.roles, Verb.HAND_OVER):
        found.append(Action(label="Hand over lots", url=reverse("handover"), tone="main"))
    if may(viewer.roles, Verb.DISPATCH):
        found.append(Action(label="Send out of the gate", url=reverse("gate")))
        found.append(Action(label="Pack a box", url=reverse("pack-box")))
    found += [Action(label="Boxes", url=reverse("boxes")), Action(label="Bar list", url=reverse("bar-list"))]
    if may(viewer.roles, Verb.MANAGE_PEOPLE):
        found.append(Action(label="Places", url=reverse("places")))
    return found


def _actions_at(standing: queries.Standing, viewer: User, something: bool) -> list[Action]:
    """What can be done at a place: at one that two people open, opening and closing comes first."""
    one, found = standing.place, []
    opens = may(viewer.roles, Verb.OPEN_VAULT)
    if standing.access and opens:
        found.append(Action(label="Close it", url=reverse("vault-close", args=[standing.access.number]), tone="main"))
    elif one.two_person and opens:
        found.append(Action(label="Open it together", url=reverse("vault-open", args=[one.code]), tone="main"))
    if something and may(viewer.roles, Verb.HAND_OVER):
        tone = "quiet" if found else "main"
        found.append(Action(label="Shift handover", url=reverse("takeover", args=[one.code]), tone=tone))
    if one.active and may(viewer.roles, Verb.COUNT):
        found.append(Action(label="Count", url=reverse("count", args=[one.code])))
    return found


def _panel(here: list[holdings.Holding]) -> Panel:
    facts = [Fact(label="Lots", value=str(sum(holding.lots for holding in here)))]
    facts.append(Fact(label="Gross", mg=sum(holding.columns_mg[0] for holding in here)))
    unvalued = sum(holding.unvalued_mg for holding in here)
    if unvalued:
        facts.append(Fact(label="Not valued yet, gross", mg=unvalued))
    return Panel(title="By the book", facts=facts)
