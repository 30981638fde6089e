"""The gate: metal leaves to a party, after a look at what it comes to; bars leave with their certificates."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from custody.actions.issue_certificate import issue_certificate, issue_certificates
from custody.actions.move import dispatch
from custody.errors import Refusal
from custody.models import Lot, Operation, User
from custody.queries import gate as queries
from custody.queries import scope
from custody.roles import Verb, may
from custody.staff.vault import tables as vault_tables
from custody.staff.vault.forms import GateForm
from custody.terms import Against, Kind
from custody.web.access import needs
from custody.web.lot_list import lots_in
from custody.web.panels import Action, Fact, Panel
from custody.web.seen import seal

LOOK_FIRST = "Look at what it comes to below, then send it out."


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.DISPATCH)
def gate(request: HttpRequest) -> HttpResponse:
    """Lots and bars leave to a party. The first press shows what it comes to; only what was shown can be sent out."""
    viewer = request.user
    named = "\n".join(request.GET.getlist("lot"))
    form = GateForm(request.POST or None, initial={"lots": named}, parties=scope.parties(viewer))
    outlook, shown = None, ""
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
        if outlook and "look" not in request.POST:
            answer = _send(request, form, lots, shown)
            if answer:
                return answer
    context = {"form": form, "outlook": outlook, "shown": shown, "cancel_url": reverse("vault")}
    return render(request, "staff/vault/gate.html", context | _tables(outlook))


@require_safe
@needs(Verb.READ_BOOK)
def dispatched(request: HttpRequest, number: str) -> HttpResponse:
    """One dispatch: what left, to whom, and the certificates of its bars."""
    one = get_object_or_404(
        queries.dispatches(request.user).select_related("party", "by", "reversed_by"), number=number
    )
    left = queries.left_with(one, request.user)
    missing = any(line.bar and not line.certificate for line in left)
    return render(
        request,
        "staff/vault/dispatched.html",
        {
            "dispatch": one,
            "status": "reversed" if hasattr(one, "reversed_by") else "",
            "actions": _actions(one, request.user, missing),
            "panel": _panel(one),
            "table": vault_tables.LeftTable(left),
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


def _send(request: HttpRequest, form: GateForm, lots: list[Lot], shown: str) -> HttpResponse | None:
    """Records the dispatch that was shown, and then its papers; None where it was not shown, or was refused."""
    said = form.cleaned_data
    if said["seen"] != shown:
        form.add_error(None, LOOK_FIRST)
        return None
    try:
        posted = dispatch(
            lots=[lot.number for lot in lots],
            party=said["party"],
            at=form.moment,
            by=request.user,
            against=Against(said["against"]),
            reason=said["reason"],
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        if refusal.detail.get("lot"):
            form.add_error("lots", refusal.sentence)
        else:
            form.refuse(refusal)
        return None
    messages.success(request, f"Dispatch {posted.number} to {said['party'].name} is recorded.")
    _issue_all(request, Operation.objects.select_related("party").get(pk=posted.id))
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
    }


def _panel(one: Operation) -> Panel:
    return Panel(
        title="Dispatch",
        facts=[
            Fact(label="When", at=one.at),
            Fact(label="To", value=one.party.name, url=reverse("party", kwargs={"code": one.party.code})),
            Fact(label="Sent out by", value=str(one.by)),
            Fact(label="Order or note", value=one.reason),
            Fact(label="In the book", value=one.number, url=reverse("operation", args=[one.number])),
        ],
    )


def _actions(one: Operation, viewer: User, missing: bool) -> list[Action]:
    if not missing or not may(viewer.roles, Verb.DISPATCH):
        return []
    url = reverse("issue-certificates", args=[one.number])
    return [Action(label="Issue the missing certificates", url=url, method="post", tone="main")]
