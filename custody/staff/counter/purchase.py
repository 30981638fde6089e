"""Buying at the counter: weighed, reckoned line by line, paid at once."""

from decimal import Decimal

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from custody.actions.issue_purchase import issue_purchase
from custody.actions.issue_receipt import issue_labels
from custody.actions.receive import receive
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import Operation
from custody.queries import counter as queries
from custody.queries import scope
from custody.roles import Verb
from custody.staff.counter.purchase_form import BoughtParcels, BoughtRows, Line, PurchaseForm
from custody.staff.counter.tables import BoughtTable
from custody.terms import Basis, DocumentKind
from custody.web.access import needs
from custody.web.seen import seal
from custody.web.weighing import weighing_kwargs

LOOK_FIRST = "Look at what it comes to below, then pay and record it."


@require_http_methods(["GET", "POST"])
@needs(Verb.RECEIVE)
def buy(request: HttpRequest) -> HttpResponse:
    """Metal is bought. The first press shows what each parcel comes to; only what was shown can be recorded."""
    sent = request.POST if request.method == "POST" else None
    form = PurchaseForm(sent, viewer=request.user)
    rows = BoughtRows(sent, prefix="parcel", form_kwargs=weighing_kwargs(request.user))
    lines: list[Line] = []
    if sent:
        readable = all([form.is_valid(), rows.is_valid()])
        lines = _reckoned(form, rows) if readable else []
        posted = _record(request, form, rows, lines) if lines and "look" not in sent else None
        if posted:
            return posted
    return render(
        request,
        "staff/counter/purchase.html",
        {
            "form": form,
            "row_sets": [rows],
            "table": BoughtTable(lines, currency=form["currency"].value()) if lines else None,
            "total": sum((line.amount for line in lines), Decimal("0.00")),
            "currency": form["currency"].value(),
            "shown": _mark(form, lines) if lines else "",
            "parties": queries.party_choices(request.user),
            "cancel_url": reverse("counter"),
        },
    )


@require_POST
@needs(Verb.RECEIVE)
def issue_note(request: HttpRequest, number: str) -> HttpResponse:
    """Prints the purchase note again."""
    receipt = scope.receipts(request.user).filter(number=number).select_related("party").first()
    if receipt is None:
        messages.error(request, f"There is no receipt {number[:40]}.")
        return redirect("counter")
    try:
        paper = issue_purchase(receipt=receipt, at=timezone.now(), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        copy = f", copy {paper.copy_no}" if paper.copy_no > 1 else ""
        messages.success(request, f"{paper.title}{copy} is issued: open it under “Papers”.")
    return redirect("receipt", number)


def _reckoned(form: PurchaseForm, rows: BoughtParcels) -> list[Line]:
    """What each parcel comes to; nothing where a figure can't be reckoned with, which is said at its parcel."""
    lines = []
    for row in rows.filled:
        try:
            lines.append(row.line(form.cleaned_data["currency"]))
        except Refused as refused:
            row.add_error(refused.field if refused.field in row.fields else None, refused.sentence)
    return lines if len(lines) == len(rows.filled) else []


def _mark(form: PurchaseForm, lines: list[Line]) -> str:
    return seal(form.delivering, *lines)


def _record(request: HttpRequest, form: PurchaseForm, rows: BoughtParcels, lines: list[Line]) -> HttpResponse | None:
    """Records the purchase that was shown, and prints its note and labels; None where it was not shown, or refused."""
    said = form.cleaned_data
    if said["seen"] != _mark(form, lines):
        form.add_error(None, LOOK_FIRST)
        return None
    try:
        posted = receive(
            party=form.delivering,
            parcels=rows.entries,
            basis=Basis.PURCHASE,
            delivered_by=said["delivered_by"],
            at=form.moment,
            place=said["place"],
            by=request.user,
            said=form.said,
            purchase=rows.spot_purchase(form),
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        if not rows.refuse(refusal):
            form.refuse(refusal)
        return None
    _issue_papers(request, Operation.objects.select_related("party").get(pk=posted.id))
    return redirect("receipt", number=posted.number)


def _issue_papers(request: HttpRequest, receipt: Operation) -> None:
    """The purchase note and the labels, once: a form sent twice finds them there."""
    issued = set(scope.documents(request.user).filter(operation=receipt).values_list("kind", flat=True))
    if DocumentKind.PURCHASE not in issued:
        issue_purchase(receipt=receipt, at=timezone.now(), by=request.user)
    if DocumentKind.LABELS not in issued:
        issue_labels(receipt=receipt, at=timezone.now(), by=request.user)
    total = f"{receipt.purchase.total} {receipt.purchase.currency}"
    messages.success(
        request,
        f"Bought for {total} as {receipt.number}. The purchase note and the labels are ready to print under “Papers”.",
    )
