"""Correcting what was declared of a receipt, parcel by parcel: what was first written stays."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from custody.actions.amend import Change, amend
from custody.calc.fineness import format_per_mille
from custody.errors import AmendedSince, Refusal
from custody.models import Operation, Parcel
from custody.queries import scope
from custody.queries.amendments import amended_receipt, as_amended, kept, recorded
from custody.roles import Verb
from custody.staff.counter.fields import DeclaredField
from custody.staff.counter.forms import typed_on
from custody.terms import Category
from custody.web.access import needs
from custody.web.countersign import CountersignForm
from custody.web.forms import BaseRows, CountField, CountryField, GramsField, RowForm, ScanField, rows_of
from custody.web.seen import seal


class AmendForm(CountersignForm):
    """Why something was written wrongly, and who delivered for whom. ``seen`` is the mark of what the page said."""

    delivered_by = forms.CharField(label="Delivered by", max_length=200)
    on_behalf_of = forms.CharField(label="On behalf of", required=False, max_length=200)
    reason = forms.CharField(
        label="Reason", max_length=300, help_text="How the mistake came about, and what shows what is right."
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    at = None
    field_order = ("reason", "delivered_by", "on_behalf_of")


class AmendRow(RowForm):
    """What is declared of one parcel."""

    lot = forms.CharField(label="Parcel", widget=forms.TextInput(attrs={"readonly": True, "class": "mark"}))
    category = forms.ChoiceField(label="Origin", required=False)
    country = CountryField(required=False)
    mine = forms.CharField(label="Mine or collector", required=False, max_length=200, widget=typed_on())
    seal = ScanField(label="Bag or seal", required=False, max_length=60)
    pieces = CountField(label="Pieces", what="number of pieces", required=False)
    declared = DeclaredField(metal="Au", label="Declared Au", help_text="18k, 750 or 75 %")
    declared_ag = DeclaredField(metal="Ag", label="Declared Ag", help_text="150 or 15 %")
    declared_gross_mg = GramsField(label="Declared, g", what="declared gross", required=False)
    export_paper = ScanField(label="Export paper", required=False, max_length=120)
    transport_paper = ScanField(label="Transport paper", required=False, max_length=120)
    description = forms.CharField(label="Description", required=False, max_length=300, widget=typed_on())

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name in ("category", "description"):
            self.fields[name].wide = True
        self.fields["category"].choices = [("", "not declared"), *Category.choices()]

    def has_changed(self):
        return self.is_bound

    def changes(self, parcel: Parcel) -> list[Change]:
        """What differs from what is written of the parcel."""
        told = self.cleaned_data
        plain = ("category", "country", "mine", "seal", "pieces", "declared_gross_mg", "description")
        right = {name: told[name] for name in (*plain, "export_paper", "transport_paper")}
        if self["declared"].data != fineness(parcel.declared_au_ppm, parcel.declared_words):
            gold = told["declared"]
            right |= {"declared_au_ppm": gold and gold.high_ppm, "declared_words": gold.words if gold else ""}
        if self["declared_ag"].data != fineness(parcel.declared_ag_ppm):
            right["declared_ag_ppm"] = told["declared_ag"] and told["declared_ag"].high_ppm
        found = []
        for field, value in right.items():
            before, after = kept(parcel, field), "" if value is None else str(value)
            if before != after:
                found.append(Change(field, before, after, parcel.lot.number))
        return found


class AmendRows(BaseRows):
    title, row_word, add_label = "Parcels as declared", "parcel", "Add a parcel"
    note = "Change what was written wrongly, and nothing else."
    required = False

    @property
    def shown(self):
        return self.forms


@needs(Verb.RECEIVE)
def correct_declared(request: HttpRequest, number: str) -> HttpResponse:
    """What was declared wrongly is amended, with its reason; countersigned where the origin or a melt asks for it."""
    found = scope.receipts(request.user).select_related("party", "delivery", "reversed_by")
    receipt = get_object_or_404(found, number=number)
    if hasattr(receipt, "reversed_by"):
        messages.error(
            request, f"{number} is reversed by {receipt.reversed_by.number}. Amend what stands instead of it."
        )
        return redirect("receipt", number)
    amended_receipt(receipt)
    parcels = as_amended(Parcel.objects.filter(lot__created_by=receipt).select_related("lot").order_by("line"))
    said = {"delivered_by": receipt.delivered_by, "on_behalf_of": _on_behalf_of(receipt)}
    shown = seal(said, *(_initial(parcel) for parcel in parcels))
    sent = request.POST if request.method == "POST" else None
    form = AmendForm(sent, initial=said)
    rows = rows_of(AmendRow, AmendRows, extra=0, most=max(len(parcels), 1))(
        sent, prefix="parcel", initial=[_initial(parcel) for parcel in parcels]
    )
    if not hasattr(receipt, "delivery"):
        del form.fields["on_behalf_of"]
    if sent and all([form.is_valid(), rows.is_valid()]):
        done = _record(request, receipt, parcels, form, rows, shown)
        if done:
            return done
    context = {"receipt": receipt, "form": form, "row_sets": [rows], "shown": form["seen"].data or shown}
    return render(
        request, "staff/counter/amend.html", context | {"cancel_url": reverse("receipt", args=[receipt.number])}
    )


def _record(
    request: HttpRequest, receipt: Operation, parcels: list[Parcel], form: AmendForm, rows: AmendRows, shown: str
) -> HttpResponse | None:
    told = form.cleaned_data
    if recorded(receipt, told["request_key"]):
        messages.info(request, "This form was recorded before. Nothing was recorded twice.")
        return redirect("receipt", receipt.number)
    try:
        if told["seen"] != shown:
            raise AmendedSince(now="something else")
        count = amend(
            receipt=receipt,
            changes=_changes(receipt, parcels, form, rows),
            reason=told["reason"],
            by=request.user,
            countersign=form.signature(request),
            request_key=told["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return None
    messages.success(request, f"{count} correction{'s' if count > 1 else ''} of {receipt.number} recorded.")
    return redirect("receipt", receipt.number)


def _changes(receipt: Operation, parcels: list[Parcel], form: AmendForm, rows: AmendRows) -> list[Change]:
    told = form.cleaned_data
    found = []
    if told["delivered_by"] != receipt.delivered_by:
        found.append(Change("delivered_by", receipt.delivered_by, told["delivered_by"]))
    if told.get("on_behalf_of", "") != _on_behalf_of(receipt):
        found.append(Change("on_behalf_of", _on_behalf_of(receipt), told["on_behalf_of"]))
    by_lot = {parcel.lot.number: parcel for parcel in parcels}
    for row in rows.filled:
        if row.cleaned_data["lot"] in by_lot:
            found += row.changes(by_lot[row.cleaned_data["lot"]])
    return found


def _on_behalf_of(receipt: Operation) -> str:
    said = getattr(receipt, "delivery", None)
    return said.on_behalf_of if said else ""


def _initial(parcel: Parcel) -> dict:
    names = (
        "category", "country", "mine", "seal", "pieces", "declared_gross_mg", "description", "export_paper",
        "transport_paper",
    )  # fmt: skip
    return {name: getattr(parcel, name) for name in names} | {
        "lot": parcel.lot.number,
        "declared": fineness(parcel.declared_au_ppm, parcel.declared_words),
        "declared_ag": fineness(parcel.declared_ag_ppm),
    }


def fineness(ppm: int | None, words: str = "") -> str:
    """As it may be typed again."""
    if ppm is None:
        return ""
    return words if words.endswith("karat") else f"{format_per_mille(ppm)} ‰"
