"""Parcels that go back unmelted: weighed again as they leave, to whoever fetches them for the party."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from custody.actions.give_back import GoingBack, give_back
from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import Operation
from custody.queries import counter_life, scope
from custody.roles import Verb
from custody.staff.entry import sent_before
from custody.staff.vault.gate import note_issued
from custody.staff.vault.gate_form import LeavingRow, LeavingRows
from custody.terms import Side
from custody.web.access import needs
from custody.web.collector import FIELDS as COLLECTOR
from custody.web.collector import CollectorFields
from custody.web.countersign import CountersignForm
from custody.web.forms import rows_of
from custody.web.weighing import weighing_kwargs


class ReturnForm(CollectorFields, CountersignForm):
    """Why parcels go back, and who fetches them."""

    reason = forms.CharField(
        label="Reason",
        max_length=300,
        help_text="Why it goes back; and what a difference in weight comes from, if there is one.",
    )
    field_order = ("reason", *COLLECTOR, "at")


class ReturnRows(LeavingRows):
    title, row_word, add_label = "Parcels, weighed as they leave", "parcel", "Add a parcel"
    note = "A parcel that is not weighed stays. Each leaves whole."
    required = True


@needs(Verb.RECEIVE)
def give_parcels_back(request: HttpRequest, number: str) -> HttpResponse:
    """Chosen parcels of one receipt leave unmelted; the return note goes with them."""
    receipt = get_object_or_404(scope.receipts(request.user).select_related("party"), number=number)
    lots = counter_life.unmelted(receipt)
    sent = request.POST if request.method == "POST" else None
    form = ReturnForm(sent, initial={"order": f"Request of {receipt.party.name}"})
    rows = rows_of(LeavingRow, ReturnRows, extra=0, most=max(len(lots), 1))(
        sent,
        prefix="parcel",
        initial=[{"lot": lot.number, "book": format_grams(lot.gross_mg)} for lot in lots],
        form_kwargs=weighing_kwargs(request.user),
    )
    if sent:
        done = sent_before(request) or (_readable(form, rows) and _record(request, receipt, form, rows))
        if done:
            return done
    return render(
        request,
        "staff/counter/return.html",
        {
            "receipt": receipt,
            "form": form,
            "row_sets": [rows] if lots else [],
            "nothing": not lots,
            "cancel_url": reverse("receipt", args=[receipt.number]),
        },
    )


def _record(request: HttpRequest, receipt: Operation, form: ReturnForm, rows: ReturnRows) -> HttpResponse | None:
    said = form.cleaned_data
    try:
        posted = give_back(
            receipt=receipt,
            parcels=[GoingBack(row.cleaned_data["lot"], row.weighed) for row in rows.filled],
            reason=said["reason"],
            collected=form.collected,
            at=form.moment,
            by=request.user,
            countersign=form.signature(request),
            request_key=said["request_key"],
        )
    except (Refusal, Refused) as refusal:
        _refuse(form, rows, refusal)
        return None
    one = Operation.objects.select_related("party").get(pk=posted.id)
    left = one.movements.filter(side=Side.IN).count()
    messages.success(request, f"{left} parcel{'s' if left > 1 else ''} of {receipt.number} went back by {one.number}.")
    note_issued(request, one)
    return redirect("dispatched", one.number)


def _refuse(form: ReturnForm, rows: ReturnRows, refusal: Refusal | Refused) -> None:
    about = getattr(refusal, "detail", {}).get("lot")
    for row in rows.filled:
        if about and row.cleaned_data.get("lot") == about and getattr(refusal, "field", "") != "countersign":
            row.add_error("lot", refusal.sentence)
            return
    form.refuse(refusal)


def _readable(form: ReturnForm, rows: ReturnRows) -> bool:
    return all([form.is_valid(), rows.is_valid()])
