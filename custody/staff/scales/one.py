"""The page of one scale: its plate, where it stands, its checks, what it sent and what it weighed."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from custody.models import Scale
from custody.queries import scales as queries
from custody.roles import Verb, may
from custody.staff.scales.figures import STATE_TONES, decimals_of, shown
from custody.staff.scales.register import READERS, in_use_action
from custody.staff.scales.tables import CheckTable, ReadingTable, WeighingTable
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

#: How many checks, readings and weighings the page shows, the latest.
LATEST = 25


@require_safe
@needs(*READERS)
def scale(request: HttpRequest, code: str) -> HttpResponse:
    """One scale."""
    one = get_object_or_404(queries.register().select_related("entered_by"), code=code)
    return render(
        request,
        "staff/scales/scale.html",
        {
            "scale": one,
            "plate": _plate(one),
            "today": _today(one),
            "actions": _actions(request, one),
            "tables": [
                CheckTable(queries.checks_of(one)[:LATEST], one),
                ReadingTable(queries.readings_of(one)[:LATEST], scale=one),
                WeighingTable(queries.weighings_on(one, request.user)[:LATEST]),
            ],
            "latest": LATEST,
        },
    )


def _plate(one: Scale) -> Panel:
    decimals = decimals_of(one.d_ug)
    facts = [
        Fact(label="Accuracy class", value=one.accuracy),
        Fact(label="e", mg=one.e_mg),
        Fact(label="d, g", value=shown(one.d_ug, decimals)),
        Fact(label="Min, g", value=shown(one.min_ug, decimals)),
        Fact(label="Max", mg=one.max_mg),
        Fact(label="Stands at", value=one.place.name),
        Fact(label="Entered", at=one.entered_at),
    ]
    return Panel(title="Plate", facts=facts, note="The plate stays. Another plate is another scale.")


def _today(one: Scale) -> Panel:
    state = queries.state_of(one)
    facts = [Fact(label="Standing", value=state, tone=STATE_TONES[state])]
    if one.last_at:
        facts.append(Fact(label="Last check", at=one.last_at))
    note = "" if one.active and one.passed else "Nothing may be weighed on it now."
    return Panel(title="Today", facts=facts, note=note)


def _actions(request: HttpRequest, one: Scale) -> list[Action]:
    roles, found = request.user.roles, []
    weighs, keeps = may(roles, Verb.WEIGH), may(roles, Verb.KEEP_SCALES)
    if one.active and weighs:
        found.append(Action(label="Check it", url=reverse("scale-check", args=[one.code]), tone="main"))
    if one.active and (weighs or keeps):
        found.append(Action(label="It is faulty", url=reverse("scale-faulty", args=[one.code]), tone="stop"))
    if keeps:
        found.append(in_use_action(reverse("scale-use", args=[one.code]), one.active))
    return found
