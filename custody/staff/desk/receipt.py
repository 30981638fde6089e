"""One receipt: parcels as declared and as measured, how far each has come, its papers and its settlement."""

from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from custody.actions.issue_receipt import issue_labels, issue_receipt
from custody.errors import Refusal
from custody.models import Operation, User
from custody.queries import receipt_life, scope
from custody.roles import Verb, may
from custody.staff.desk.tables import DocumentTable, ParcelTable
from custody.terms import Basis, DocumentKind
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

ISSUE = {DocumentKind.RECEIPT: issue_receipt, DocumentKind.LABELS: issue_labels}
#: What a receipt's basis says of the title to its metal.
TITLE = {Basis.TOLL: "toll: title stays with the party", Basis.PURCHASE: "purchase: title passes to the house"}


@require_GET
@needs(Verb.READ_BOOK)
def receipt(request: HttpRequest, number: str) -> HttpResponse:
    """The page of one receipt."""
    viewer = request.user
    one = get_object_or_404(scope.receipts(viewer).select_related("party", "place", "by", "reversed_by"), number=number)
    lines = receipt_life.parcel_lines(one)
    documents = list(scope.documents(viewer).filter(operation=one).select_related("issued_by"))
    undone = getattr(one, "reversed_by", None)
    return render(
        request,
        "staff/desk/receipt.html",
        {
            "receipt": one,
            "under": f"from {one.party.name}",
            "status": "reversed" if undone else "",
            "actions": [] if undone else _actions(one, viewer),
            "panels": [_facts(one), _settlement(one, viewer)],
            "parcels": ParcelTable(lines),
            "documents": DocumentTable(documents),
            "issue": [] if undone else _issue(one, viewer, documents),
        },
    )


@require_POST
@needs(Verb.RECEIVE, Verb.WEIGH)
def issue_paper(request: HttpRequest, number: str) -> HttpResponse:
    """Issues one of the receipt's papers, the first time or again."""
    one = get_object_or_404(scope.receipts(request.user).select_related("party"), number=number)
    action = ISSUE.get(request.POST.get("paper"))
    if action is None:
        messages.error(request, "A receipt has two papers: the receipt and the lot labels. Press one of the buttons.")
        return redirect("receipt", number=number)
    try:
        paper = action(receipt=one, at=timezone.now(), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        copy = f", copy {paper.copy_no}" if paper.copy_no > 1 else ""
        messages.success(request, f"{paper.title}{copy} is issued: open it under “Papers”.")
    return redirect("receipt", number=number)


def _actions(one: Operation, viewer: User) -> list[Action]:
    found = []
    if may(viewer.roles, Verb.CLEAR):
        found.append(
            Action(label="Hold or release", url=f"{reverse('clearance')}?{urlencode({'receipt': one.number})}")
        )
    if may(viewer.roles, Verb.REVERSE):
        found.append(Action(label="Reverse", url=reverse("reverse", args=[one.number]), tone="stop"))
    return found


def _issue(one: Operation, viewer: User, documents: list) -> list[Action]:
    """The buttons that print a paper; one that was issued before says that this is a reprint."""
    verbs = {DocumentKind.RECEIPT: Verb.RECEIVE, DocumentKind.LABELS: Verb.WEIGH}
    names = {DocumentKind.RECEIPT: "receipt", DocumentKind.LABELS: "labels"}
    found = []
    for kind, name in names.items():
        if may(viewer.roles, verbs[kind]):
            copies = sum(document.kind == kind for document in documents)
            found.append(
                Action(
                    label=f"Print the {name} again (copy {copies + 1})" if copies else f"Issue the {name}",
                    url=reverse("receipt-paper", args=[one.number]),
                    method="post",
                    values={"paper": str(kind)},
                )
            )
    return found


def _facts(one: Operation) -> Panel:
    facts = [
        Fact(label="Received", at=one.at),
        Fact(label="From", value=one.party.name, url=reverse("party", kwargs={"code": one.party.code})),
        Fact(label="Delivered by", value=one.delivered_by),
        Fact(label="Received by", value=str(one.by)),
        Fact(label="At", value=one.place.name if one.place else ""),
        Fact(label="Basis", value=TITLE.get(one.basis, one.basis)),
        Fact(label="In the book", value=one.number, url=reverse("operation", args=[one.number])),
    ]
    undone = getattr(one, "reversed_by", None)
    if undone:
        facts.append(Fact(label="Reversed by", value=undone.number, url=reverse("operation", args=[undone.number])))
    return Panel(title="Delivery", facts=facts)


def _settlement(one: Operation, viewer: User) -> Panel:
    words, number = receipt_life.settlement_words(one)
    url = reverse("settlement", kwargs={"number": number}) if number else ""
    open_to_settle = not number and not hasattr(one, "reversed_by") and may(viewer.roles, Verb.SETTLE)
    actions = [Action(label="Settle", url=reverse("settle", args=[one.number]))] if open_to_settle else []
    return Panel(title="Settlement", facts=[Fact(label="Standing", value=words, url=url)], actions=actions)
