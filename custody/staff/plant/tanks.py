"""Vessels and tanks: what stands in each, how full, since when; overflow to the next; a manager's capacities."""

from dataclasses import replace

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.actions.runs import let_overflow
from custody.actions.tanks import set_vessel
from custody.calc.solutions import litres, milligrams_a_litre
from custody.errors import Refusal
from custody.queries import plant, tanks
from custody.roles import Verb, may
from custody.staff.entry import sent_before
from custody.staff.plant.run_forms import STEPS
from custody.staff.solution_fields import LitresField
from custody.terms import Kind, PlaceKind
from custody.web.access import needs
from custody.web.countersign import CountersignForm
from custody.web.forms import BaseForm
from custody.web.panels import Action, Fact, Panel


class VesselForm(BaseForm):
    """What a vessel holds at most, and where it overflows to."""

    capacity = LitresField(label="Holds at most, L", required=False)
    overflows_to = forms.ModelChoiceField(
        label="Overflows to", queryset=None, required=False, empty_label="no other vessel"
    )

    def __init__(self, *args, place, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["overflows_to"].queryset = plant.places(PlaceKind.VESSEL).exclude(pk=place.pk)


class OverflowForm(CountersignForm):
    """How much ran over, once a batch or a shift."""

    volume = LitresField(label="Ran over, L", help_text="Gross and every metal follow pro rata.")
    step = forms.ChoiceField(
        label="Step in the next vessel",
        choices=STEPS,
        initial=Kind.NEUTRALISE,
        help_text="Counts where that one is empty; else it goes on with its own.",
    )
    reason = forms.CharField(label="Reason", required=False, max_length=500)

    field_order = ("volume", "step", "at", "reason")


@require_GET
@needs(Verb.READ_BOOK)
def all_tanks(request: HttpRequest) -> HttpResponse:
    """Every vessel and tank as a tile."""
    now = timezone.now()
    states = tanks.states(request.user)
    panels = [{"panel": _panel(state, now), "state": state} for state in states]
    overdue = sum(bool(state.run and state.run.overdue(now)) for state in states)
    full = sum((state.full_percent or 0) > 100 for state in states)
    words = [f"{overdue} overdue"] * bool(overdue) + [f"{full} over capacity"] * bool(full)
    context = {"tiles": panels, "status": ", ".join(words), "actions": _ways(request)}
    return render(request, "staff/plant/tanks.html", context)


def _ways(request: HttpRequest) -> list[Action]:
    found = [Action(label="Water", url=reverse("water"))]
    if may(request.user.roles, Verb.REFINE):
        found.insert(0, Action(label="Charge a vessel", url=reverse("charge")))
    return found


def _panel(state: tanks.State, now) -> Panel:
    content, run = state.content, state.run
    facts = []
    if content:
        volume = state.volume
        facts = [
            Fact(label="Run", value=f"{run.run.number}, {run.run.step}", url=reverse("run", args=[run.run.number])),
            Fact(label="Time", value=run.due_words(now), tone="stop" if run.overdue(now) else "plain"),
            Fact(label="Since", at=run.since),
            Fact(label="Litres", value=f"{volume.litres}, {volume.how}"),
            Fact(label="Gross", mg=content.gross_mg),
            Fact(label="By the book, mg/L", value=_concentrations(state)),
            Fact(label="Held by", value=content.custodian),
        ]
    if state.full_percent is not None:
        tone = "stop" if state.full_percent > 100 else "wait" if state.full_percent >= 90 else "plain"
        facts.insert(0, Fact(label="Full", value=_full_words(state), tone=tone))
    elif state.capacity_ml:
        facts.append(Fact(label="Holds at most, L", value=litres(state.capacity_ml)))
    if state.waiting:
        assays = reverse("solution", args=[content.number])
        facts.append(Fact(label="Assays", value=f"{state.waiting} waiting", url=assays))
    facts += [
        Fact(label="Solution", value=f"{lot.number}, {volume.litres} L", url=reverse("lot", args=[lot.number]))
        for lot, volume in state.standing
    ]
    if state.next:
        facts.append(Fact(label="Overflows to", value=state.next, url=reverse("tank", args=[state.next.code])))
    note = "" if content or state.standing else "Empty by the book."
    opens = [Action(label="Open", url=reverse("tank", args=[state.place.code]))]
    return Panel(title=str(state.place), facts=facts, note=note, actions=opens)


def _full_words(state: tanks.State) -> str:
    return f"{state.full_percent} % of {litres(state.capacity_ml)} L"


def _concentrations(state: tanks.State) -> str:
    return ", ".join(f"{metal} {milligrams_a_litre(ug_l)}" for metal, ug_l in state.concentrations) or "no metal"


@needs(Verb.READ_BOOK)
def tank(request: HttpRequest, code: str) -> HttpResponse:
    """One vessel: its tile, its overflow to the next, its capacity for a manager."""
    state = next((one for one in tanks.states(request.user) if one.place.code == code), None)
    if state is None:
        raise Http404("There is no such vessel.")
    sent = request.POST if request.method == "POST" else None
    asked = sent.get("what", "") if sent is not None else ""
    over = OverflowForm(sent if asked == "overflow" else None)
    settings = VesselForm(
        sent if asked == "settings" else None,
        place=state.place,
        initial={"capacity": state.capacity_ml, "overflows_to": state.next},
    )
    done = None
    if asked == "overflow":
        done = _overflow(request, state, over)
    elif asked == "settings":
        done = _set(request, state, settings)
    if done:
        return done
    context = {
        "state": state,
        "panel": replace(_panel(state, timezone.now()), title="In it", actions=()),
        "over": over if state.content and state.next and may(request.user.roles, Verb.REFINE) else None,
        "settings": settings if may(request.user.roles, Verb.SET_PLANT) else None,
        "actions": _actions(request, state),
    }
    return render(request, "staff/plant/tank.html", context)


def _actions(request: HttpRequest, state: tanks.State) -> list[Action]:
    roles, found = request.user.roles, []
    if may(roles, Verb.REFINE):
        found.append(Action(label="Charge", url=f"{reverse('charge')}?vessel={state.place.code}"))
    if state.content and may(roles, Verb.REFINE):
        found.append(Action(label="Draw", url=reverse("draw", args=[state.run.run.number])))
        found.append(Action(label="Finish", url=reverse("finish", args=[state.run.run.number])))
    if state.content and may(roles, Verb.DETERMINE):
        found.append(Action(label="Assay", url=reverse("solution", args=[state.content.number])))
    return found


def _overflow(request: HttpRequest, state: tanks.State, form: OverflowForm) -> HttpResponse | None:
    if not may(request.user.roles, Verb.REFINE):
        raise PermissionDenied("You may not let a tank overflow.")
    before = sent_before(request)
    if before:
        return before
    if not form.is_valid() or not state.content:
        return None
    said = form.cleaned_data
    try:
        posted = let_overflow(
            content=state.content,
            volume_ml=said["volume"],
            step=Kind(said["step"]),
            at=form.moment,
            by=request.user,
            reason=said["reason"],
            countersign=form.signature(request),
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return None
    messages.success(request, f"{litres(said['volume'])} L ran over into {state.next}, recorded as {posted.number}.")
    return redirect("tank", state.place.code)


def _set(request: HttpRequest, state: tanks.State, form: VesselForm) -> HttpResponse | None:
    if not may(request.user.roles, Verb.SET_PLANT):
        raise PermissionDenied("You may not change a vessel.")
    if not form.is_valid():
        return None
    said = form.cleaned_data
    try:
        set_vessel(place=state.place, capacity_ml=said["capacity"], overflows_to=said["overflows_to"], by=request.user)
    except Refusal as refusal:
        form.refuse(refusal)
        return None
    messages.success(request, f"{state.place} is kept so.")
    return redirect("tank", state.place.code)
