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
from custody.models import Delivery, Operation, User
from custody.queries import counter_life, receipt_life, scope
from custody.queries.amendments import amended_receipt
from custody.roles import Verb, may
from custody.staff.counter import around
from custody.staff.desk.attachments import AttachmentForm, may_attach
from custody.staff.desk.receipt_tables import AmendmentTable, AttachmentTable, DeclaredTable, WeighedTable
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
    return _page(request, _receipt(request.user, number))


@require_POST
@needs(Verb.RECEIVE, Verb.CLEAR)
def attach_files(request: HttpRequest, number: str) -> HttpResponse:
    """Attaches photographs and papers to a receipt or to one of its parcels."""
    one = _receipt(request.user, number)
    form = AttachmentForm(request.POST, request.FILES, receipt=one)
    if form.is_valid():
        try:
            kept = form.record(request.user)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"Attached to {number}: {', '.join(one.title for one in kept)}.")
            return redirect("receipt", number=number)
    return _page(request, one, form)


RELATED = ("party", "place", "by", "reversed_by", "delivery__slip", "delivery__replaces", "replaced_by__operation")


def _receipt(viewer: User, number: str) -> Operation:
    return get_object_or_404(scope.receipts(viewer).select_related(*RELATED), number=number)


def _page(request: HttpRequest, one: Operation, form: AttachmentForm | None = None) -> HttpResponse:
    viewer = request.user
    lines = receipt_life.parcel_lines(one)
    attached = scope.attachments(viewer).filter(receipt__in=counter_life.with_replaced(one)).select_related("lot", "by")
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
            "panels": [_facts(one), _delivery(one, viewer), _settlement(one, viewer), *around.panels(one, viewer)],
            "tables": _tables(one, lines),
            "attachments": AttachmentTable(list(attached)),
            "attach_form": (form or AttachmentForm(receipt=one)) if may_attach(viewer) else None,
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


def _tables(one: Operation, lines: list[receipt_life.ParcelLine]) -> list:
    """The lists of the page that have something to say."""
    amendments = receipt_life.amendments_of(one)
    bought = around.bought_table(one, lines)
    weighed = [line for line in lines if line.weighing]
    found = [
        (lines, ParcelTable(lines)),
        (weighed, WeighedTable(weighed)),
        (lines, DeclaredTable(lines)),
        (amendments, AmendmentTable(amendments)),
        (bought, bought),
    ]
    return [table for rows, table in found if rows]


def _actions(one: Operation, viewer: User) -> list[Action]:
    found = []
    if may(viewer.roles, Verb.MELT):
        url = f"{reverse('melt-on-receipt')}?{urlencode({'receipt': one.number})}"
        found.append(Action(label="Melt on receipt", url=url))
    if may(viewer.roles, Verb.CLEAR):
        found.append(
            Action(label="Hold or release", url=f"{reverse('clearance')}?{urlencode({'receipt': one.number})}")
        )
    if may(viewer.roles, Verb.TRACE):
        url = f"{reverse('fates')}?{urlencode({'receipts': one.number})}"
        found.append(Action(label="Where it all went", url=url))
    if may(viewer.roles, Verb.REVERSE):
        found.append(Action(label="Reverse", url=reverse("reverse", args=[one.number]), tone="stop"))
    return [*found, *around.actions(one, viewer)]


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
        Fact(label="Received by", value=str(one.by)),
        Fact(label="At", value=one.place.name if one.place else ""),
        Fact(label="Basis", value=TITLE.get(one.basis, one.basis)),
        Fact(label="In the book", value=one.number, url=reverse("operation", args=[one.number])),
    ]
    undone = getattr(one, "reversed_by", None)
    if undone:
        facts.append(Fact(label="Reversed by", value=undone.number, url=reverse("operation", args=[undone.number])))
    return Panel(title="Delivery", facts=facts)


def _delivery(one: Operation, viewer: User) -> Panel:
    """Who brought it for whom, which identity was seen, and which slip or receipt it stands for."""
    said = getattr(amended_receipt(one), "delivery", None)
    facts = [
        Fact(label="Delivered by", value=one.delivered_by),
        Fact(label="On behalf of", value=said.on_behalf_of if said and said.on_behalf_of else one.party.name),
        Fact(label="Identity seen", value=_identity(said, viewer) if said else ""),
    ]
    if said and said.slip:
        facts.append(Fact(label="Entered late from paper slip", value=said.slip.number))
    if said and said.replaces:
        facts.append(_linked("Replaces", said.replaces.number))
    if hasattr(one, "replaced_by"):
        facts.append(_linked("Replaced by", one.replaced_by.operation.number))
    return Panel(title="Who brought it", facts=facts)


def _identity(said: Delivery, viewer: User) -> str:
    number = scope.identity_number(viewer, said.identity_number)
    return " ".join(filter(None, (said.get_identity_kind_display(), number)))


def _linked(label: str, number: str) -> Fact:
    return Fact(label=label, value=number, url=reverse("receipt", args=[number]))


def _settlement(one: Operation, viewer: User) -> Panel:
    words, number = receipt_life.settlement_words(one)
    url = reverse("settlement", kwargs={"number": number}) if number else ""
    closed = hasattr(one, "reversed_by") or hasattr(one, "purchase")
    open_to_settle = not number and not closed and may(viewer.roles, Verb.SETTLE)
    actions = [Action(label="Settle", url=reverse("settle", args=[one.number]))] if open_to_settle else []
    return Panel(title="Settlement", facts=[Fact(label="Standing", value=words, url=url)], actions=actions)
