"""The gate: metal leaves to a party, after a look at what it comes to; bars leave with their certificates."""

from collections import Counter
from collections.abc import Callable
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from custody.actions.issue_certificate import issue_certificate, issue_certificates
from custody.actions.issue_collection import issue_collection
from custody.actions.issue_dispatch_note import issue_dispatch_note
from custody.actions.move import dispatch
from custody.calc.mass import format_grams
from custody.errors import Refusal
from custody.models import Document, Lot, Operation, User
from custody.queries import gate as queries
from custody.queries import scope
from custody.queries.settling import went_back
from custody.roles import Verb, may
from custody.staff.desk.tables import DocumentTable
from custody.staff.vault import tables as vault_tables
from custody.staff.vault.gate_form import GateForm, LeavingRows, check_rows, weighing_rows
from custody.terms import Against, DocumentKind, IdentityKind, Kind
from custody.web.access import needs
from custody.web.countersign import ASKED
from custody.web.lot_list import lots_in
from custody.web.panels import Action, Fact, Panel
from custody.web.seen import seal
from custody.web.standing import metal_columns, metals_in

SCRIPTS = ("custody/tally.js", "custody/scale.js")
LOOK_FIRST = "Look at what it comes to below, then send it out."


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.DISPATCH)
def gate(request: HttpRequest) -> HttpResponse:
    """Lots and bars leave to a party. The first press shows what it comes to; only what was shown can be sent out."""
    viewer = request.user
    named = "\n".join(request.GET.getlist("lot"))
    form = GateForm(request.POST or None, initial={"lots": named}, parties=scope.parties(viewer))
    outlook, shown, rows = None, "", None
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        earlier = queries.dispatches(viewer).filter(request_key=said["request_key"]).first()
        if earlier:
            messages.info(request, f"This form was recorded before, as {earlier.number}. Nothing was recorded twice.")
            return redirect("dispatched", earlier.number)
        lots = lots_in(form, "lots", viewer)
        if not form.errors:
            outlook = queries.outlook(lots, said["party"], Against(said["against"]), viewer)
            shown = seal(said["party"].pk, said["against"], outlook)
            named = set(queries.to_weigh([lot.number for lot in lots]))
            rows = weighing_rows([lot for lot in lots if lot.number in named], request.POST, viewer)
        if outlook and "look" not in request.POST:
            answer = _send(request, form, rows, lots, shown)
            if answer:
                return answer
    context = {
        "form": form,
        "outlook": outlook,
        "shown": shown,
        "rows": rows if rows and rows.forms else None,
        "scripts": SCRIPTS,
        "cancel_url": reverse("vault"),
    }
    return render(request, "staff/vault/gate.html", context | _tables(outlook))


@require_safe
@needs(Verb.READ_BOOK)
def dispatched(request: HttpRequest, number: str) -> HttpResponse:
    """One dispatch: what left, to whom, who fetched it, and its papers."""
    one = get_object_or_404(
        queries.dispatches(request.user).select_related("party", "by", "reversed_by", "collection", "countersigned_by"),
        number=number,
    )
    left = queries.left_with(one, request.user)
    missing = any(line.bar and not line.certificate for line in left)
    metals = metal_columns(metals_in(line.columns_mg for line in left), "columns_mg")
    papers = list(scope.documents(request.user).filter(operation=one).select_related("issued_by"))
    return render(
        request,
        "staff/vault/dispatched.html",
        {
            "dispatch": one,
            "status": "reversed" if hasattr(one, "reversed_by") else "",
            "actions": _actions(one, request.user, missing),
            "panels": [_panel(one), _collected(one, request.user)],
            "tables": [vault_tables.LeftTable(left, extra_columns=metals), DocumentTable(papers)],
            "issue": _issue(one, request.user, Counter(paper.kind for paper in papers)),
        },
    )


@require_POST
@needs(Verb.DISPATCH)
def issue_missing(request: HttpRequest, number: str) -> HttpResponse:
    """Issues the certificates of a dispatch that could not be written when it was recorded."""
    one = get_object_or_404(scope.operations(request.user).filter(kind=Kind.DISPATCH), number=number)
    _issue_all(request, one)
    return redirect("dispatched", number)


@require_POST
@needs(Verb.DISPATCH, Verb.RECEIVE)
def issue_note(request: HttpRequest, number: str) -> HttpResponse:
    """Issues the collection note, or the return note, the first time or again."""
    one = get_object_or_404(queries.dispatches(request.user), number=number)
    note_issued(request, one)
    return redirect("dispatched", number)


@require_POST
@needs(Verb.DISPATCH)
def issue_travelling(request: HttpRequest, number: str) -> HttpResponse:
    """Issues the dispatch note, the first time or again."""
    _issued(request, issue_dispatch_note, get_object_or_404(queries.dispatches(request.user), number=number))
    return redirect("dispatched", number)


def note_issued(request: HttpRequest, one: Operation) -> None:
    """Issues the note that the collector signs; what can't be issued now doesn't undo what left."""
    _issued(request, issue_collection, one)


def _issued(request: HttpRequest, issue: Callable[..., Document], one: Operation) -> None:
    try:
        paper = issue(dispatch=one, at=timezone.now(), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        copy = f", copy {paper.copy_no}" if paper.copy_no > 1 else ""
        messages.success(request, f"{paper.title}{copy} is ready to print: two copies, both are signed.")


@require_POST
@needs(Verb.DISPATCH)
def issue_one(request: HttpRequest, number: str) -> HttpResponse:
    """Issues the certificate of one bar, for the party that has it if it left the house."""
    lot = get_object_or_404(scope.lots(request.user), number=number)
    try:
        paper = issue_certificate(lot=lot, at=timezone.now(), by=request.user, party=queries.receiver_of(lot))
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        copy = f", copy {paper.copy_no}" if paper.copy_no > 1 else ""
        messages.success(request, f"{paper.title}{copy} is issued: open it under “Papers”.")
    return redirect("lot", lot.number)


def _send(request: HttpRequest, form: GateForm, rows: LeavingRows, lots: list[Lot], shown: str) -> HttpResponse | None:
    """Records the dispatch that was shown, and then its papers; None where it was not shown, or was refused."""
    said = form.cleaned_data
    if said["seen"] != shown:
        form.add_error(None, LOOK_FIRST)
        return None
    if rows.forms and not check_rows(form, rows, lots):
        return None
    try:
        posted = dispatch(
            lots=[lot.number for lot in lots],
            party=said["party"],
            at=form.moment,
            by=request.user,
            against=Against(said["against"]),
            collected=form.collected,
            weighed={row.cleaned_data["lot"]: row.weighed for row in rows.forms},
            reason=said["reason"],
            countersign=form.signature(request),
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        if refusal.detail.get("lot") and refusal.field != ASKED:
            form.add_error("lots", refusal.sentence)
        else:
            form.refuse(refusal)
        return None
    messages.success(request, f"Dispatch {posted.number} to {said['party'].name} is recorded.")
    one = Operation.objects.select_related("party").get(pk=posted.id)
    note_issued(request, one)
    _issued(request, issue_dispatch_note, one)
    _issue_all(request, one)
    return redirect("dispatched", posted.number)


def _issue_all(request: HttpRequest, one: Operation) -> None:
    issued, failed = issue_certificates(dispatch=one, at=timezone.now(), by=request.user)
    if issued:
        messages.success(
            request, f"{len(issued)} bar certificate{'s' if len(issued) != 1 else ''} issued for {one.party.name}."
        )
    for sentence in failed:
        messages.warning(request, f"{sentence} Issue it again below.")


def _tables(outlook: queries.Outlook | None) -> dict:
    if outlook is None:
        return {}
    return {
        "leaving": vault_tables.OutlookTable(outlook.lots),
        "claims": vault_tables.ClaimTable(outlook.claims),
        "cover": vault_tables.CoverTable(outlook.cover) if outlook.cover else None,
        "beside": "; ".join(f"{metal} {format_grams(mg)} g" for metal, mg in outlook.beside),
    }


def _panel(one: Operation) -> Panel:
    return Panel(
        title="Dispatch",
        facts=[
            Fact(label="When", at=one.at),
            Fact(label="To", value=one.party.name, url=reverse("party", kwargs={"code": one.party.code})),
            Fact(label="Sent out by", value=str(one.by)),
            Fact(label="Reason" if went_back(one) else "Note", value=one.reason),
            Fact(label="In the book", value=one.number, url=reverse("operation", args=[one.number])),
        ],
    )


def _collected(one: Operation, viewer: User) -> Panel:
    collection = getattr(one, "collection", None)
    if collection is None:
        return Panel(title="Collection", note="The record does not say who fetched it.")
    facts = [
        Fact(label="It left as", value=Against(collection.against).label),
        Fact(label="By the order", value=collection.order),
        Fact(label="Carrier", value=collection.carrier),
        Fact(label="Fetched by", value=collection.collector),
        Fact(label="Known by", value=IdentityKind(collection.identity_kind).label),
        Fact(label="Its number", value=scope.identity_number(viewer, collection.identity_number)),
    ]
    if one.countersigned_by:
        facts.append(Fact(label="Countersigned", value=f"{one.countersigned_by}: {one.countersign_meaning}"))
    return Panel(title="Collection", facts=facts)


def _issue(one: Operation, viewer: User, copies: Counter) -> list[Action]:
    back = went_back(one)
    allowed = may(viewer.roles, Verb.RECEIVE if back else Verb.DISPATCH)
    if not allowed or not hasattr(one, "collection") or hasattr(one, "reversed_by"):
        return []
    if back:
        return [_note("issue-note", DocumentKind.RETURN, one, copies)]
    found = [_note("issue-dispatch-note", DocumentKind.DISPATCH_NOTE, one, copies)]
    found.append(_note("issue-note", DocumentKind.COLLECTION, one, copies))
    found.append(Action(label="Bar list", url=f"{reverse('bar-list')}?{urlencode({'dispatch': one.number})}"))
    return found


def _note(view: str, kind: DocumentKind, one: Operation, copies: Counter) -> Action:
    label = f"Print the {kind} again (copy {copies[kind] + 1})" if copies[kind] else f"Issue the {kind}"
    return Action(label=label, url=reverse(view, args=[one.number]), method="post")


def _actions(one: Operation, viewer: User, missing: bool) -> list[Action]:
    if not missing or not may(viewer.roles, Verb.DISPATCH):
        return []
    url = reverse("issue-certificates", args=[one.number])
    return [Action(label="Issue the missing certificates", url=url, method="post", tone="main")]
