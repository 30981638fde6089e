"""The counter: a delivery is received, weighed and receipted while the customer waits."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from custody.actions._post import Posted
from custody.actions.attach import attach
from custody.actions.issue_receipt import issue_labels, issue_receipt
from custody.actions.receive import receive
from custody.calc.estimate import estimate, parse_declared
from custody.calc.mass import parse_grams
from custody.errors import Refusal
from custody.models import Operation
from custody.queries import counter as queries
from custody.queries import scope
from custody.roles import Verb
from custody.staff.counter.forms import ParcelRows, ReceiptForm
from custody.staff.counter.others import other_entries
from custody.terms import AttachmentKind, Basis, DocumentKind
from custody.web.access import needs
from custody.web.weighing import weighing_kwargs


@require_http_methods(["GET", "POST"])
@needs(Verb.RECEIVE)
def counter(request: HttpRequest) -> HttpResponse:
    """The entry of one receipt; recorded, it leads to the receipt's page with its papers."""
    asked = request.POST or None
    form = ReceiptForm(asked, request.FILES or None, viewer=request.user, initial=_named(request))
    rows = ParcelRows(asked, prefix="parcel", form_kwargs=weighing_kwargs(request.user))
    if asked:
        readable = [part.is_valid() for part in (form, rows)]  # both, so that every fault is told at once
        posted = _record(request, form, rows) if all(readable) else None
        if posted:
            _issue_papers(request, posted, form)
            return redirect("receipt", number=posted.number)
    return render(
        request,
        "staff/counter/receipt.html",
        {
            "form": form,
            "row_sets": [rows],
            "parties": queries.party_choices(request.user),
            "actions": other_entries(request.user),
            "cancel_url": reverse("today"),
        },
    )


@require_GET
@needs(Verb.RECEIVE)
def estimates(request: HttpRequest) -> JsonResponse:
    """What a parcel may hold by what is typed of it, in words; what can't be read yet is not estimated."""
    asked = request.GET
    sentences = []
    try:
        gross = parse_grams(asked.get("gross", ""), allow_units=True)
        tare = parse_grams(asked["tare"], allow_units=True, allow_zero=True) if asked.get("tare", "").strip() else 0
    except ValueError:
        return JsonResponse({"sentences": []})
    for metal, typed in (("Au", asked.get("declared", "")), ("Ag", asked.get("declared_ag", ""))):
        try:
            if typed.strip() and tare < gross:
                sentences.append(estimate(gross - tare, parse_declared(typed, metal=metal)).sentence)
        except ValueError:
            continue
    return JsonResponse({"sentences": sentences})


def _named(request: HttpRequest) -> dict[str, str]:
    """The party, or the paper slip, that another page sent along."""
    party = scope.parties(request.user).filter(code=request.GET.get("party", "")).first()
    return {"party": str(party) if party else "", "slip": request.GET.get("slip", "")[:20]}


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
            said=form.said,
            by=request.user,
            request_key=told["request_key"],
        )
    except Refusal as refusal:
        if not rows.refuse(refusal):
            form.refuse(refusal)
        return None


def _issue_papers(request: HttpRequest, posted: Posted, form: ReceiptForm) -> None:
    """Attachments, the receipt and the labels, once: a form sent twice finds them there."""
    receipt = Operation.objects.select_related("party").get(pk=posted.id)
    _attach(request, receipt, form)
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


def _attach(request: HttpRequest, receipt: Operation, form: ReceiptForm) -> None:
    of_papers = AttachmentKind(form.cleaned_data["paper_kind"] or AttachmentKind.OTHER)
    kinds = {"photographs": AttachmentKind.PHOTOGRAPH, "papers": of_papers}
    for field, kind in kinds.items():
        for name, content in form.cleaned_data[field]:
            try:
                attach(
                    receipt=receipt, lot=None, kind=kind, title="", name=name, content=content, at=timezone.now(),
                    by=request.user,
                )  # fmt: skip
            except Refusal as refusal:
                messages.error(request, f"{refusal.sentence} The receipt is recorded; attach it there again.")
