"""One operation as the book has it, and its reversal."""

from django.contrib import messages
from django.forms import CharField, Textarea
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse as address
from django.views.decorators.http import require_GET, require_http_methods

from custody.actions import work
from custody.errors import Refusal
from custody.models import Operation, User
from custody.queries import operation_life, sampling, scope
from custody.roles import Verb, may
from custody.staff.counter import around
from custody.staff.desk.tables import DocumentTable, LineTable
from custody.terms import COLUMNS, Kind
from custody.web.access import needs
from custody.web.forms import EventForm
from custody.web.panels import Action, Fact, Panel
from custody.web.standing import metal_columns, metals_in

RELATED = (
    "by", "party", "place", "run", "reverses", "reversed_by", "countersigned_by", "acceptance__determination",
    "route_work__order",
)  # fmt: skip


class ReversalForm(EventForm):
    reason = CharField(label="Reason", widget=Textarea, max_length=1000)
    field_order = ("reason", "at")


@require_GET
@needs(Verb.READ_BOOK)
def operation(request: HttpRequest, number: str) -> HttpResponse:
    """The page of one operation."""
    one = _operation(request.user, number)
    sides = operation_life.sides_of(one)
    metals = metals_in(side.sum_mg for side in sides)
    documents = list(scope.documents(request.user).filter(operation=one).select_related("issued_by"))
    return render(
        request,
        "staff/desk/operation.html",
        {
            "operation": one,
            "status": "reversed" if _undone(one) else "reversal" if one.reverses else "",
            "tone": "stop" if _undone(one) else "wait",
            "actions": _actions(one, request.user),
            "panels": [panel for panel in (_head(one), _links(one), _countersignature(one)) if panel],
            "tables": [
                LineTable(side.lines, caption=side.words, extra_columns=metal_columns(metals, "shown_mg", total=True))
                for side in sides
            ],
            "balance": _balance(sides),
            "documents": DocumentTable(documents) if documents else None,
            "seal": bytes(one.sha256).hex(),
        },
    )


@require_http_methods(["GET", "POST"])
@needs(Verb.REVERSE)
def reverse(request: HttpRequest, number: str) -> HttpResponse:
    """Asks why, then undoes the whole operation by its mirror; a refusal names what to reverse first."""
    one = _operation(request.user, number)
    form = ReversalForm(request.POST or None)
    first = ""
    if request.method == "POST" and form.is_valid():
        try:
            posted = work.reverse(
                operation=one,
                reason=form.cleaned_data["reason"],
                at=form.moment,
                by=request.user,
                request_key=form.cleaned_data["request_key"],
            )
        except Refusal as refusal:
            form.refuse(refusal)
            first = refusal.detail.get("operation", "")
        else:
            messages.success(request, f"{one.number} is reversed by {posted.number}. Both stay in the book.")
            return redirect("operation", number=posted.number)
    return render(
        request,
        "staff/desk/reverse.html",
        {
            "operation": one,
            "form": form,
            "facts": [*_head(one).facts, *around.reversal_facts(one)],
            "cancel_url": address("operation", args=[one.number]),
            "first": _first(first, one),
        },
    )


def _operation(viewer: User, number: str) -> Operation:
    return get_object_or_404(scope.operations(viewer).select_related(*RELATED), number=number)


def _undone(one: Operation) -> Operation | None:
    return getattr(one, "reversed_by", None)


def _first(number: str, one: Operation) -> list[Action]:
    """The way to the operation that a refusal names."""
    if not number or number == one.number:
        return []
    return [Action(label=f"Go to {number}", url=address("operation", args=[number]))]


def _actions(one: Operation, viewer: User) -> list[Action]:
    found = []
    if one.kind == Kind.RECEIVE:
        found.append(Action(label="The receipt", url=address("receipt", args=[one.number])))
    elif may(viewer.roles, Verb.WEIGH) and sampling.lots_for_labels(one, viewer):
        found.append(Action(label="Print the labels", url=address("made-labels", args=[one.number]), method="post"))
    if may(viewer.roles, Verb.REVERSE) and one.kind != Kind.REVERSE and not _undone(one):
        found.append(Action(label="Reverse", url=address("reverse", args=[one.number]), tone="stop"))
    return found


def _head(one: Operation) -> Panel:
    facts = [
        Fact(label="Kind", value=one.kind),
        Fact(label="When", at=one.at),
        Fact(label="Recorded", at=one.recorded_at),
        Fact(label="By", value=str(one.by)),
    ]
    if one.place:
        facts.append(Fact(label="At", value=one.place.name))
    if one.reason:
        facts.append(Fact(label="Reason", value=one.reason))
    if one.about:
        facts.append(Fact(label="About the day", value=one.about.isoformat()))
    if one.source != "live":
        facts.append(Fact(label="Came in by", value=one.source))
    return Panel(title="Recorded", facts=facts)


def _links(one: Operation) -> Panel | None:
    facts = []
    if one.party:
        facts.append(Fact(label="Party", value=one.party.name, url=address("party", kwargs={"code": one.party.code})))
    if one.run:
        url = address("run", args=[one.run.number])
        facts.append(Fact(label="Run", value=f"{one.run.number}, {one.run.step}", url=url))
    if work := getattr(one, "route_work", None):
        url = address("route-order", args=[work.order.number])
        facts.append(Fact(label="Order", value=f"{work.order.number}, {work.station}", url=url))
    if one.acceptance:
        facts.append(Fact(label="By assay", value=one.acceptance.determination.number))
    for label, other in (("Reverses", one.reverses), ("Reversed by", _undone(one))):
        if other:
            facts.append(Fact(label=label, value=other.number, url=address("operation", args=[other.number])))
    return Panel(title="Belongs to", facts=facts) if facts else None


def _countersignature(one: Operation) -> Panel | None:
    if not one.countersigned_by:
        if one.over_tolerance:
            return Panel(title="Countersignature", note="Over tolerance, not countersigned at source.")
        return None
    return Panel(
        title="Countersignature",
        facts=[
            Fact(label="Signed by", value=str(one.countersigned_by)),
            Fact(label="When", at=one.countersigned_at),
            Fact(label="Meaning", value=one.countersign_meaning),
        ],
        note="Over tolerance." if one.over_tolerance else "",
    )


def _balance(sides: list[operation_life.SideLines]) -> list[dict]:
    """Every column that occurs: in with additions, out with losses; equal, because the book holds them equal."""
    came, went = operation_life.balance_of(sides)
    return [
        {"name": name, "came": a, "went": b, "open": a - b}
        for name, a, b in zip(COLUMNS, came, went, strict=True)
        if a or b or name == "gross"
    ]
