"""A receipt that was weighed or entered wrongly, before melting: opened as it was entered, recorded anew."""

from datetime import datetime

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from custody.actions.issue_receipt import issue_labels, issue_receipt
from custody.actions.replace_receipt import replace_receipt
from custody.errors import Refusal
from custody.models import Operation, Parcel, Weighing
from custody.queries import counter as queries
from custody.queries import scope
from custody.queries.amendments import amended_receipt, as_amended
from custody.roles import Verb
from custody.staff.counter.amend import fineness
from custody.staff.counter.forms import ParcelRows, Parcels, ReceiptForm
from custody.staff.entry import sent_before
from custody.terms import Basis, Purpose
from custody.web.access import needs
from custody.web.countersign import CountersignForm
from custody.web.weighing import weighing_kwargs


class ReplaceForm(CountersignForm, ReceiptForm):
    """The receipt as it should have been, and why it was wrong. Always countersigned; the time stays unless changed."""

    always = True
    FILES = ()
    RARE = ("place", "at")
    photographs = papers = paper_kind = slip = None

    reason = forms.CharField(
        label="What was wrong", max_length=300, help_text="How the mistake came about; whether it was weighed again."
    )
    field_order = ("reason", *ReceiptForm.field_order)

    def __init__(self, *args, received_at: datetime, **kwargs):
        self.received_at = received_at
        super().__init__(*args, **kwargs)

    @property
    def folds(self):
        """Without a slip: that stays with the receipt which was entered from it."""
        moved = self.is_bound and ("at" in self.changed_data or any(self[name].errors for name in self.RARE))
        return [
            ("The party is not known yet", [self[name] for name in self.NEW], self.new_said),
            ("Place, time", [self[name] for name in self.RARE], moved),
        ]

    def clean(self):
        super().clean()
        self.cleaned_data["slip"] = ""

    @property
    def moment(self) -> datetime:
        """When it was received, to the second, unless another time is typed."""
        return self.cleaned_data["at"] if "at" in self.changed_data else self.received_at


@needs(Verb.RECEIVE)
def replace(request: HttpRequest, number: str) -> HttpResponse:
    """The receipt is reversed and recorded anew; both name each other."""
    receipt = get_object_or_404(
        scope.receipts(request.user).select_related("party", "delivery", "reversed_by", "place"), number=number
    )
    sent = request.POST if request.method == "POST" else None
    if sent:
        before = sent_before(request)
        if before:
            return before
    if hasattr(receipt, "reversed_by"):
        messages.error(request, f"{number} is reversed already by {receipt.reversed_by.number}.")
        return redirect("receipt", number)
    form = ReplaceForm(sent, viewer=request.user, received_at=receipt.at, initial=_initial(receipt))
    parcels = [] if sent else _parcels(receipt)
    rows = ParcelRows(sent, prefix="parcel", initial=parcels, form_kwargs=weighing_kwargs(request.user))
    rows.extra = 0 if parcels else rows.extra
    if sent and all([form.is_valid(), rows.is_valid()]):
        done = _record(request, receipt, form, rows)
        if done:
            return done
    context = {"receipt": receipt, "form": form, "row_sets": [rows], "parties": queries.party_choices(request.user)}
    return render(request, "staff/counter/replace.html", context | {"cancel_url": reverse("receipt", args=[number])})


def _record(request: HttpRequest, receipt: Operation, form: ReplaceForm, rows: Parcels) -> HttpResponse | None:
    told = form.cleaned_data
    try:
        signature = form.signature(request)
        if signature is None:
            form.add_error(form.COUNTERSIGN[0], "A manager countersigns a receipt that is replaced.")
            return None
        posted = replace_receipt(
            receipt=receipt,
            party=form.delivering,
            parcels=rows.entries,
            basis=Basis(told["basis"]),
            delivered_by=told["delivered_by"],
            at=form.moment,
            place=told["place"],
            said=form.said,
            reason=told["reason"],
            countersign=signature,
            by=request.user,
            request_key=told["request_key"],
        )
    except Refusal as refusal:
        if not rows.refuse(refusal):
            form.refuse(refusal)
        return None
    one = Operation.objects.select_related("party").get(pk=posted.id)
    for issue in (issue_receipt, issue_labels):
        issue(receipt=one, at=timezone.now(), by=request.user)
    messages.success(
        request,
        f"{one.number} replaces {receipt.number}. Take back the copies and destroy the labels of {receipt.number}; the"
        " new ones are under “Papers”.",
    )
    return redirect("receipt", one.number)


def _initial(receipt: Operation) -> dict:
    said = getattr(amended_receipt(receipt), "delivery", None)
    return {
        "party": str(receipt.party),
        "delivered_by": receipt.delivered_by,
        "on_behalf_of": said.on_behalf_of if said else "",
        "identity_kind": said.identity_kind if said else "",
        "identity_number": said.identity_number if said else "",
        "basis": receipt.basis,
        "place": receipt.place_id,
        "at": timezone.localtime(receipt.at).replace(second=0, microsecond=0),
    }


def _parcels(receipt: Operation) -> list[dict]:
    weighed = {
        one.lot_id: one
        for one in Weighing.objects.filter(operation=receipt, purpose=Purpose.RECEIPT).select_related("scale")
    }
    parcels = Parcel.objects.filter(lot__created_by=receipt).select_related("lot", "returned_from__lot")
    return [_parcel(parcel, weighed.get(parcel.lot_id)) for parcel in as_amended(parcels.order_by("line"))]


def _parcel(parcel: Parcel, weighing: Weighing | None) -> dict:
    names = (
        "category", "country", "mine", "seal", "pieces", "description", "export_paper", "transport_paper",
    )  # fmt: skip
    return {name: getattr(parcel, name) for name in names} | {
        "form": parcel.lot.form,
        "custody_model": parcel.lot.custody_model,
        "scale": weighing.scale.code if weighing else "",
        "gross": weighing.gross_mg if weighing else parcel.lot.gross_mg,
        "tare": (weighing.tare_mg or None) if weighing else None,
        "declared": fineness(parcel.declared_au_ppm, parcel.declared_words),
        "declared_ag": fineness(parcel.declared_ag_ppm),
        "declared_gross": parcel.declared_gross_mg,
        "returned_from": parcel.returned_from.lot.number if parcel.returned_from else "",
    }
