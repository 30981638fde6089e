"""The first page: what waits for this person, what they answer for, what runs, what stands where."""

from collections.abc import Callable
from datetime import datetime

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.models import User
from custody.queries import exchanges, planner, prices, scales, vault
from custody.queries import today as waiting
from custody.queries.plant import OpenRun
from custody.roles import Verb, may
from custody.staff.desk.tables import LotTable, PlaceTable, RunTable
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

#: What is said, of what it is counted, the verbs of which one makes it this person's matter, where it is done.
WAITS: tuple[tuple[str, str, Callable, tuple[Verb, ...], str], ...] = (
    ("Still at the counter, to hand over", "lot", waiting.at_the_counter, (Verb.RECEIVE,), "vault"),
    ("Awaiting release", "lot", waiting.awaiting_release, (Verb.CLEAR,), "clearance"),
    ("Held", "lot", waiting.held, (Verb.CLEAR,), "clearance"),
    ("Awaiting an assay", "lot", waiting.awaiting_assay, (Verb.DETERMINE,), "laboratory"),
    ("Assays to be exchanged", "lot", exchanges.due, (Verb.DETERMINE,), "exchanges"),
    ("Exchanges awaiting our result", "exchange", exchanges.awaiting_refinery, (Verb.DETERMINE,), "exchanges"),
    ("Exchanges to be settled", "exchange", exchanges.both_open, (Verb.DETERMINE, Verb.SETTLE), "exchanges"),
    ("Assays awaiting acceptance", "determination", waiting.awaiting_acceptance, (Verb.ACCEPT,), "laboratory"),
    ("Solutions awaiting acceptance", "assay", waiting.solution_assays_to_accept, (Verb.ACCEPT,), "laboratory"),
    ("Route orders to work", "order", planner.open_orders, (Verb.REFINE,), "route-orders"),
    ("Standing open", "place", vault.open_now, (Verb.OPEN_VAULT,), "vault"),
    ("Not to be used before a check", "scale", scales.to_check_today, (Verb.WEIGH,), "scales"),
    ("Receipts to settle", "receipt", waiting.receipts_to_settle, (Verb.SETTLE, Verb.APPROVE), "settlements"),
    ("Doubtful prices to confirm", "price", prices.to_confirm, (Verb.CONFIRM_PRICES,), "prices-doubtful"),
)
LOTS_A_PAGE = 25


@require_GET
@needs(Verb.READ_BOOK, Verb.READ_OWN)
def today(request: HttpRequest) -> HttpResponse:
    """What waits for the viewer. A customer who comes to the staff's door is shown to their own."""
    viewer = request.user
    if not may(viewer.roles, Verb.READ_BOOK):
        return redirect("portal")
    now = timezone.now()
    runs = waiting.open_runs(viewer)
    lots = LotTable(waiting.in_custody_of(viewer), order_by="number")
    tables.RequestConfig(request, paginate={"per_page": LOTS_A_PAGE}).configure(lots)
    actions = (
        [Action(label="New receipt", url=reverse("counter"), tone="main")] if may(viewer.roles, Verb.RECEIVE) else []
    )
    return render(
        request,
        "staff/desk/today.html",
        {
            "actions": [*actions, Action(label="The day's flow", url=reverse("day-flow"))],
            "waits": _waits(viewer, runs, now),
            "lots": lots,
            "runs": RunTable(runs, now=now),
            "places": PlaceTable(waiting.by_place(viewer)),
        },
    )


def _waits(viewer: User, runs: list[OpenRun], now: datetime) -> Panel:
    facts = []
    for label, word, of, verbs, desk in WAITS:
        if any(may(viewer.roles, verb) for verb in verbs):
            facts.append(_counted(label, word, of(viewer).count(), desk))
    if may(viewer.roles, Verb.REFINE) or may(viewer.roles, Verb.COUNTERSIGN):
        overdue = sum(run.overdue(now) for run in runs)
        facts += [_counted("Open runs", "run", len(runs), "plant"), _counted("Overdue runs", "run", overdue, "plant")]
    facts = [fact for fact in facts if fact]
    return Panel(title="Waits for you", facts=facts, note="" if facts else "Nothing waits for you.")


def _counted(label: str, word: str, count: int, desk: str) -> Fact | None:
    if not count:
        return None
    return Fact(label=label, value=f"{count} {word}{'s' if count > 1 else ''}", url=reverse(desk))
