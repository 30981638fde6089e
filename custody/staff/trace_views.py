"""The trace desk: a bar or lot back to its origins, a parcel forward to its fates, as picture, list and paper."""

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from custody.actions.issue_trace import issue_trace
from custody.documents import flow
from custody.errors import Refusal
from custody.models import Lot
from custody.queries import scope, trace
from custody.queries.way import way_into
from custody.roles import Verb
from custody.staff.trace_tables import FateTable, OriginTable
from custody.terms import COLUMNS, METALS, Form, Kind
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel


@require_safe
@needs(Verb.TRACE)
def start(request: HttpRequest) -> HttpResponse:
    """Asks which lot or bar, and leads to its trace; a parcel is traced forward, anything else back."""
    code = request.GET.get("code", "").strip()
    if not code:
        return render(request, "staff/trace/start.html")
    try:
        lot = trace.find_lot(code)
    except Refusal as refusal:
        return render(request, "staff/trace/start.html", {"code": code, "refusal": refusal.sentence})
    direction = "forward" if lot.created_by.kind == Kind.RECEIVE and not hasattr(lot, "bar") else "back"
    return redirect("trace", lot.number, direction)


@require_safe
@needs(Verb.TRACE)
def show(request: HttpRequest, number: str, direction: str) -> HttpResponse:
    """One trace, back or forward."""
    lot = get_object_or_404(scope.lots(request.user).select_related("custodian", "place", "created_by"), number=number)
    if direction == "back":
        context = _back(lot)
    elif direction == "forward" and hasattr(lot, "origin"):
        context = _forward(lot)
    else:
        raise Http404
    context |= {
        "lot": lot,
        "direction": direction,
        "panel": _panel(lot, direction),
        "actions": _actions(lot, direction),
    }
    return render(request, "staff/trace/show.html", context)


@require_POST
@needs(Verb.TRACE)
def report(request: HttpRequest, number: str) -> HttpResponse:
    """Issues the trace report as a paper and leads to its download."""
    lot = get_object_or_404(scope.lots(request.user), number=number)
    document = issue_trace(lot=lot, at=timezone.now(), by=request.user)
    messages.success(request, f"Trace report of {lot.number} issued.")
    return redirect("document", document.pk)


def _back(lot: Lot) -> dict:
    shares = trace.origins_of(lot)
    metals = [metal for metal in COLUMNS if any(share.metal == metal for share in shares)]
    groups = []
    for metal in metals:
        of_metal = [share for share in shares if share.metal == metal]
        total = sum(share.mg for share in of_metal)
        rows = [
            {
                "origin": "" if share.difference else share.origin,
                "what": "difference: gain over book" if share.difference else share.category,
                "party": f"{share.party} {share.party_name}".strip(),
                "receipt": share.receipt,
                "country": share.country,
                "mg": share.mg,
                "share_ppm": share.mg * 1_000_000 // total,
            }
            for share in of_metal
        ]
        groups.append({"metal": metal, "total_mg": total, "table": OriginTable(rows)})
    picture = _picture_back(lot, next((metal for metal in METALS if metal in metals), ""))
    return {"groups": groups, "ancestors": trace.ancestors_of(lot), **picture}


def _picture_back(lot: Lot, metal: str) -> dict:
    stations, legs = way_into(lot, metal) if metal else ([], [])
    if not legs:
        return {}
    nodes = [flow.Node(s.key, s.lines, s.kind, s.column) for s in stations]
    links = [flow.Link(leg.source, leg.target, leg.mg, leg.metal) for leg in legs]
    return _drawn(nodes, links, f"The way of {metal} into {lot.number}")


def _forward(lot: Lot) -> dict:
    fates = trace.fates_of(lot)
    metals = [metal for metal in COLUMNS if any(fate.metal == metal for fate in fates)]
    groups = []
    for metal in metals:
        of_metal = [fate for fate in fates if fate.metal == metal]
        total = sum(fate.mg for fate in of_metal)
        rows = [
            {
                "fate": fate.fate,
                "lot": fate.lot,
                "words": fate.serial or fate.cause or fate.operation,
                "mg": fate.mg,
                "share_ppm": fate.mg * 1_000_000 // total if total else 0,
            }
            for fate in of_metal
        ]
        groups.append({"metal": metal, "total_mg": total, "table": FateTable(rows)})
    picture = _picture_forward(lot, fates, next((metal for metal in METALS if metal in metals), ""))
    return {"groups": groups, "descendants": trace.descendants_of(lot), **picture}


def _picture_forward(lot: Lot, fates: list[trace.Fate], metal: str) -> dict:
    drawn = [fate for fate in fates if fate.metal == metal and fate.mg > 0]
    if not drawn:
        return {}
    nodes = [flow.Node(lot.number, (lot.number, Form(lot.form).label), "parcel", 0)]
    links = []
    for position, fate in enumerate(drawn):
        key = f"{position}"
        lines = (f"{fate.fate} {fate.serial}".strip(), fate.lot or fate.cause)
        nodes.append(flow.Node(key, lines, fate.fate, 1))
        links.append(flow.Link(lot.number, key, fate.mg, metal))
    return _drawn(nodes, links, f"Where the {metal} of {lot.number} went")


def _drawn(nodes: list[flow.Node], links: list[flow.Link], title: str) -> dict:
    picture = flow.layout(nodes, links)
    words = flow.sentences(picture.nodes, picture.links)
    return {
        "flow_title": title,
        "flow_svg": flow.svg(picture, title=title, desc="; ".join(words)),
        "flow_words": words,
    }


def _panel(lot: Lot, direction: str) -> Panel:
    facts = [
        Fact(label="Lot", value=lot.number, url=reverse("lot", args=[lot.number])),
        Fact(label="Form", value=Form(lot.form).label),
        Fact(label="Gross in the book", mg=lot.gross_mg),
        Fact(label="Held by", value=f"{lot.custodian}, {lot.place}" if lot.gross_mg else "nobody: it is empty"),
        Fact(label="Custody model", value=lot.custody_model),
        Fact(label="Standing", value=lot.clearance),
    ]
    bar = getattr(lot, "bar", None)
    if bar:
        facts.insert(1, Fact(label="Stamp", value=str(bar)))
    if trace.returned_from(lot):
        facts.append(Fact(label="Came back from", value=trace.returned_from(lot)))
    note = "" if lot.gross_mg else "This lot is empty: it is traced as it last left."
    return Panel(title="What is traced", facts=facts, note=note)


def _actions(lot: Lot, direction: str) -> list[Action]:
    actions = []
    if direction == "forward":
        actions.append(Action(label="Trace back", url=reverse("trace", args=[lot.number, "back"])))
    elif hasattr(lot, "origin"):
        actions.append(Action(label="Trace forward", url=reverse("trace", args=[lot.number, "forward"])))
    if direction == "back":
        actions.append(
            Action(
                label="Trace report, PDF", url=reverse("trace-report", args=[lot.number]), method="post", tone="main"
            )
        )
    return actions
