"""The trace desk: a bar or lot back to its origins, a parcel forward to its fates, as picture, list and paper."""

from collections.abc import Callable, Sequence

import django_tables2 as tables
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from custody.actions.issue_trace import issue_trace
from custody.documents import flow
from custody.documents.fill_trace import picture_of
from custody.errors import Refusal
from custody.models import Lot, User
from custody.queries import lookup, scope, trace
from custody.queries.way import Losses, losses_on_way, way_into
from custody.roles import Verb
from custody.staff.trace_tables import FateTable, LossTable, OriginTable, ReportTable, with_share
from custody.terms import COLUMNS, METALS, Clearance, DocumentKind, Form, Kind
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel
from custody.web.standing import CLEARANCE_TONES, metal_columns, metals_in
from custody.web.tables import BaseTable

#: Rows of a list on one page; a bar of a recycling plant has thousands of small origins.
ROWS = 100
#: Of the lots behind a bar, the nearest are shown with their losses; the report has all.
NEAREST = 500
MOST_LOSSES = 50
#: What of a flow picture stays readable on a screen.
REPORTS = 5
PICTURE = {"columns": 6, "limit": 14}


@require_safe
@needs(Verb.TRACE)
def start(request: HttpRequest) -> HttpResponse:
    """Asks which lot or bar, and leads to its trace: a parcel's forward, anything else's back."""
    code = request.GET.get("code", "").strip()
    found = [one for one in lookup.find(code, request.user) if one.kind in ("lot", "bar")]
    if len(found) == 1:
        lot = scope.lots(request.user).select_related("created_by", "bar").get(number=found[0].number)
        return redirect("trace", lot.number, _natural(lot))
    refusal = ""
    if code and not found:
        refusal = f"There is no lot and no bar {code[:60]}. Check the number, or scan the label."
    candidates = [Action(label=one.words, url=reverse("trace", args=[one.number, "back"])) for one in found]
    context = {"code": code, "candidates": candidates, "refusal": refusal}
    return render(request, "staff/trace/start.html", context)


@require_safe
@needs(Verb.TRACE)
def show(request: HttpRequest, number: str, direction: str) -> HttpResponse:
    """One trace, back or forward; ``?metal=`` chooses the metal of the picture."""
    related = ("custodian", "place", "created_by__party", "bar", "origin")
    lot = get_object_or_404(scope.lots(request.user).select_related(*related), number=number)
    if direction not in ("back", "forward"):
        raise Http404
    try:
        context = (_back if direction == "back" else _forward)(lot, request)
    except Refusal as refusal:
        context = {"code": number, "refusal": refusal.sentence}
        return render(request, "staff/trace/start.html", context, status=404)
    context |= {"lot": lot, "direction": direction, "panel": _panel(lot), "actions": _actions(lot, direction)}
    return render(request, "staff/trace/show.html", context)


@require_POST
@needs(Verb.TRACE)
def report(request: HttpRequest, number: str) -> HttpResponse:
    """Issues the trace report as a paper; it is opened from the trace's page, where it stays listed."""
    lot = get_object_or_404(scope.lots(request.user).select_related("created_by", "custodian", "place"), number=number)
    try:
        document = issue_trace(lot=lot, at=timezone.now(), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, f"{document.title} is issued: open it under “Trace reports”.")
    return redirect("trace", lot.number, "back")


def _natural(lot: Lot) -> str:
    return "forward" if lot.created_by.kind == Kind.RECEIVE and not hasattr(lot, "bar") else "back"


def _back(lot: Lot, request: HttpRequest) -> dict:
    shares = trace.origins_of(lot)
    rows = [
        {
            "metal": share.metal,
            "origin": None if share.difference else share.origin,
            "what": "gain over book" if share.difference else share.category,
            "party": f"{share.party} {share.party_name}".strip(),
            "receipt": share.receipt,
            "country": share.country,
            "mg": share.mg,
        }
        for share in shares
    ]
    groups = _groups(rows, OriginTable, request)
    ancestors = trace.ancestors_of(lot, most=NEAREST)
    losses = losses_on_way(lot, ancestors, most=MOST_LOSSES)
    return {
        "groups": groups,
        "reports": _reports(lot, request.user),
        "lots": ancestors,
        "lots_word": "that went into it",
        "nearest": len(ancestors) == NEAREST,
        "losses": _loss_table(losses),
        "more_losses": losses.count - len(losses.latest),
    } | _picture(groups, request, lambda metal: _picture_back(lot, metal))


def _forward(lot: Lot, request: HttpRequest) -> dict:
    fates = trace.fates_of(lot)
    rows = [
        {
            "metal": fate.metal,
            "fate": fate.fate,
            "lot": fate.lot,
            "words": fate.serial or fate.cause,
            "operation": fate.operation,
            "mg": fate.mg,
        }
        for fate in fates
    ]
    groups = _groups(rows, FateTable, request)
    descendants = trace.descendants_of(lot, most=NEAREST)
    return {
        "groups": groups,
        "lots": descendants,
        "lots_word": "made of it",
        "nearest": len(descendants) == NEAREST,
    } | _picture(groups, request, lambda metal: _picture_forward(lot, fates, metal))


def _groups(rows: Sequence[dict], table: type[BaseTable], request: HttpRequest) -> list[dict]:
    """One list for each column that occurs, with its sum, a page at a time."""
    groups = []
    for metal in COLUMNS:
        of_metal = with_share(row for row in rows if row["metal"] == metal)
        if of_metal:
            listed = table(of_metal, prefix=f"{metal}-")
            listed.caption = (
                f"{table.caption} by gross, not valued" if metal == "gross" else f"{table.caption} of {metal}"
            )
            tables.RequestConfig(request, paginate={"per_page": ROWS}).configure(listed)
            groups.append({"metal": metal, "table": listed})
    return groups


def _reports(lot: Lot, viewer: User) -> ReportTable | None:
    """The latest reports of the lot; its own page has all of them."""
    issued = scope.documents(viewer).filter(kind=DocumentKind.TRACE, lot=lot).select_related("issued_by")
    latest = list(issued[:REPORTS])
    return ReportTable(latest) if latest else None


def _loss_table(losses: Losses) -> LossTable | None:
    if not losses.count:
        return None
    rows = [
        {"operation": one.operation, "kind": one.kind, "at": one.at, "cause": one.cause, "amounts": (0, *one.metals_mg)}
        for one in losses.latest
    ]
    return LossTable(rows, extra_columns=metal_columns(metals_in(row["amounts"] for row in rows), "amounts"))


def _picture(groups: Sequence[dict], request: HttpRequest, draw: Callable[[str], dict]) -> dict:
    metals = [group["metal"] for group in groups if group["metal"] in METALS]
    if not metals:
        return {}
    asked = request.GET.get("metal")
    metal = asked if asked in metals else metals[0]
    others = [Action(label=f"Draw {other}", url=f"?metal={other}") for other in metals if other != metal]
    return draw(metal) | {"other_pictures": others}


def _picture_back(lot: Lot, metal: str) -> dict:
    way = way_into(lot, metal)
    caption = "" if way.whole else " The way goes on behind the lots at its left end that are no parcels."
    return _drawn(*picture_of(way), f"The way of {metal} into {lot.number}", caption)


def _picture_forward(lot: Lot, fates: Sequence[trace.Fate], metal: str) -> dict:
    nodes, links = [flow.Node("parcel", (lot.number, lot.get_form_display()), "parcel", 0)], []
    for position, fate in enumerate(fate for fate in fates if fate.metal == metal and fate.mg > 0):
        key = f"fate {position}"
        lines = (f"{fate.fate} {fate.serial}".strip(), fate.lot or fate.cause)
        nodes.append(flow.Node(key, lines, fate.fate, 1))
        links.append(flow.Link("parcel", key, fate.mg, metal))
    return _drawn(nodes, links, f"Where the {metal} of {lot.number} went", "")


def _drawn(nodes: Sequence[flow.Node], links: Sequence[flow.Link], title: str, caption: str) -> dict:
    if not links:
        return {}
    picture = flow.layout(nodes, links, **PICTURE)
    words = flow.sentences(picture.nodes, picture.links)
    return {
        "flow_title": title,
        "flow_svg": flow.svg(picture, title=title, desc="; ".join(words), key="picture"),
        "flow_words": words,
        "flow_caption": f"Bands are as wide as the milligrams they carry.{caption} The lists below are the record.",
    }


def _panel(lot: Lot) -> Panel:
    facts = [
        Fact(label="Lot", value=lot.number, url=reverse("lot", args=[lot.number])),
        Fact(label="Form", value=Form(lot.form).label),
        Fact(label="Gross in the book", mg=lot.gross_mg),
        Fact(label="Held by", value=f"{lot.custodian}, {lot.place}" if lot.gross_mg else "nobody: it is empty"),
        Fact(label="Custody model", value=f"{lot.custody_model} (ISO 22095)"),
    ]
    if lot.gross_mg:
        tone = CLEARANCE_TONES[lot.clearance]
        facts.append(Fact(label="Compliance", value=Clearance(lot.clearance).label, tone=tone))
    bar = getattr(lot, "bar", None)
    if bar:
        facts.insert(1, Fact(label="Stamp", value=str(bar)))
    came_back = trace.returned_bar(lot)
    if came_back:
        url = reverse("trace", args=[came_back.lot.number, "back"])
        facts.append(Fact(label="Came back as this parcel", value=str(came_back), url=url))
    cancelled = trace.cancelled_by(lot)
    if cancelled:
        facts.append(
            Fact(label="Cancelled by", value=cancelled.number, url=reverse("operation", args=[cancelled.number]))
        )
    note = "" if lot.gross_mg else "This lot is empty: it is traced as it last left."
    return Panel(
        title="What is traced",
        facts=facts,
        note="This lot was cancelled: it is traced as it was, and no metal is in it." if cancelled else note,
    )


def _actions(lot: Lot, direction: str) -> list[Action]:
    actions = []
    if direction == "forward":
        actions.append(Action(label="Trace back", url=reverse("trace", args=[lot.number, "back"])))
    elif hasattr(lot, "origin"):
        actions.append(Action(label="Trace forward", url=reverse("trace", args=[lot.number, "forward"])))
    if direction == "back":
        url = reverse("trace-report", args=[lot.number])
        actions.append(Action(label="Issue a trace report", url=url, method="post", tone="main"))
    return actions
