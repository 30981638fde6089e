"""Which step is recorded next? What fits the lots that were scanned stands in front."""

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from custody.calc.recipes import RECIPES, fitting
from custody.models import Lot, User
from custody.queries import scope
from custody.roles import Verb, may, verb_of
from custody.staff.plant.addresses import address_of
from custody.staff.plant.step import WORKERS
from custody.terms import Form, Kind
from custody.web.access import needs
from custody.web.panels import Action, Panel

HOT = (Kind.MELT, Kind.GRANULATE, Kind.INQUART, Kind.CAST_ANODES, Kind.CAST_STRIP, Kind.RECYCLE)
COLD = (Kind.ROLL, Kind.PUNCH, Kind.ANNEAL, Kind.ADJUST, Kind.STAMP, Kind.CLEAN_OUT)
WET = tuple(kind for kind in RECIPES if kind not in (*HOT, *COLD))
GROUPS = (("Hot", HOT), ("Wet", WET), ("Cold", COLD))


@needs(*WORKERS)
def kinds(request: HttpRequest) -> HttpResponse:
    """Only steps that this person may record; lots that were ticked go along."""
    numbers = [number for number in request.GET.getlist("lot") if "\0" not in number][:200]
    lots = list(scope.lots(request.user).filter(number__in=numbers))
    panels = [
        Panel(title=title, actions=[Action(label=label, url=url) for label, url in steps])
        for title, steps in _offered(request.user, numbers)
        if steps
    ]
    if len(numbers) == 1 and may(request.user.roles, Verb.SAMPLE):
        panels.insert(0, _of_sampler(numbers[0], lots))
    context = {"panels": panels, "under": ", ".join(numbers), "fitting": _fitting(lots, request.user, numbers)}
    return render(request, "staff/plant/kinds.html", context)


def _fitting(lots: list[Lot], viewer: User, numbers: list[str]) -> Panel | None:
    """The steps that usually take every one of these lots, by their forms."""
    forms = {Form(lot.form) for lot in lots}
    steps = [kind for kind in fitting(forms) if may(viewer.roles, verb_of(kind))]
    if not steps:
        return None
    said = " and ".join(sorted(form.label for form in forms))
    actions = [
        Action(label=RECIPES[kind].title, url=address_of(kind, numbers), tone="quiet" if number else "main")
        for number, kind in enumerate(steps)
    ]
    return Panel(title=f"Usual for {said}", actions=actions)


def _of_sampler(number: str, lots: list[Lot]) -> Panel:
    """What a sampler does with one lot; only a sample is consumed."""
    steps = [("Draw a sample from it", "sample")]
    if any(lot.form == Form.SAMPLE for lot in lots):
        steps.append(("Consume it as a sample", "consume"))
    actions = [Action(label=label, url=reverse(name, kwargs={"number": number})) for label, name in steps]
    return Panel(title="Sampling", actions=actions)


def _offered(user: User, numbers: list[str]) -> list[tuple[str, list[tuple[str, str]]]]:
    """The steps that a person may record, group by group: label and address."""
    usual = (
        ("Melt on receipt", "melt-on-receipt", Kind.MELT),
        ("Refine a batch", "batch", Kind.DISSOLVE),
        ("Charge a vessel", "charge", Kind.CHARGE),
        ("Cast bars", "cast", Kind.CAST),
        ("Divide a lot", "divide", Kind.DIVIDE),
    )
    query = "?" + urlencode([("lot", number) for number in numbers]) if numbers else ""
    common = [(label, reverse(name) + query) for label, name, kind in usual if may(user.roles, verb_of(kind))]
    single = [
        (title, [(RECIPES[kind].title, address_of(kind, numbers)) for kind in group if may(user.roles, verb_of(kind))])
        for title, group in GROUPS
    ]
    return [("Usual work", common), *single]
