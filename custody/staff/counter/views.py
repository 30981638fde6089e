"""The counter: a delivery is received, weighed and receipted while the customer waits."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from custody.actions._post import Posted
from custody.actions.issue_receipt import issue_labels, issue_receipt
from custody.actions.receive import receive
from custody.errors import Refusal
from custody.models import Operation
from custody.queries import counter as queries
from custody.queries import scope
from custody.roles import Verb
from custody.staff.counter.forms import ParcelRows, ReceiptForm
from custody.terms import Basis, DocumentKind
from custody.web.access import needs


@require_http_methods(["GET", "POST"])
@needs(Verb.RECEIVE)
def counter(request: HttpRequest) -> HttpResponse:
    """The entry of one receipt; recorded, it leads to the receipt's page with its papers."""
    asked = request.POST or None
    form = ReceiptForm(asked, viewer=request.user, initial={"party": _named(request)})
    rows = ParcelRows(asked, prefix="parcel", form_kwargs={"scale": queries.scale_of(request.user)})
    if asked:
        readable = [part.is_valid() for part in (form, rows)]  # both, so that every fault is told at once
        posted = _record(request, form, rows) if all(readable) else None
        if posted:
            _issue_papers(request, posted)
            return redirect("receipt", number=posted.number)
    return render(
        request,
        "staff/counter/receipt.html",
        {
            "form": form,
            "row_sets": [rows],
            "parties": queries.party_choices(request.user),
            "scales": queries.scales(),
            "cancel_url": reverse("today"),
        },
    )


def _named(request: HttpRequest) -> str:
    """The party that another page sent along."""
    party = scope.parties(request.user).filter(code=request.GET.get("party", "").replace("\0", "")).first()
    return str(party) if party else ""


def _record(request: HttpRequest, form: ReceiptForm, rows: ParcelRows) -> Posted | None:
    told = form.cleaned_data
    try:
        return receive(
            party=form.delivering,
            parcels=rows.entries,
            basis=Basis(told["basis"]),
            delivered_by=told["delivered_by"],
            at=form.moment,
            place=told["place"],
            by=request.user,
            request_key=told["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return None


def _issue_papers(request: HttpRequest, posted: Posted) -> None:
    """The receipt and the labels, once: a form sent twice finds them issued."""
    receipt = Operation.objects.select_related("party").get(pk=posted.id)
    issued = set(scope.documents(request.user).filter(operation=receipt).values_list("kind", flat=True))
    for kind, issue in ((DocumentKind.RECEIPT, issue_receipt), (DocumentKind.LABELS, issue_labels)):
        if kind not in issued:
            issue(receipt=receipt, at=timezone.now(), by=request.user)
    lots = len(posted.lots)
    messages.success(
        request,
        f"Receipt {posted.number} is recorded with {lots} lot{'s' if lots > 1 else ''}. "
        "The receipt and the labels are ready to print under “Papers”.",
    )
