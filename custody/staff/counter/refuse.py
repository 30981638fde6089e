"""Refused parcels: who brought what, and why it was not taken in. A register, never the book."""

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from custody.actions.refuse import refuse_parcel
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import Operation, RefusedParcel, User
from custody.queries import counter, registers, scope
from custody.queries.parties import find_party
from custody.roles import Verb, may
from custody.staff.counter.forms import typed_on
from custody.staff.counter.tables import RefusedTable
from custody.terms import COUNTER_FORMS, Form, IdentityKind
from custody.web.access import needs
from custody.web.forms import EventForm
from custody.web.panels import Action, Fact, Panel
from custody.web.weighing import WeighingFields, weighing_kwargs

#: Refused parcels on one page of the register.
A_PAGE = 100


class RefusalForm(WeighingFields, EventForm):
    """What was brought, by whom, and why it goes back. Weighed or not."""

    tare = tare_reading = None

    party = forms.CharField(
        label="Party, if it is known",
        required=False,
        max_length=240,
        widget=forms.TextInput(attrs={"list": "parties", "autocomplete": "off", "data-scan": True}),
    )
    brought_by = forms.CharField(
        label="Brought by", max_length=200, widget=typed_on(), help_text="It is handed back to the same person."
    )
    identity_kind = forms.ChoiceField(
        label="Identity seen", required=False, choices=[("", "none"), *IdentityKind.choices()]
    )
    identity_number = forms.CharField(label="Its number", required=False, max_length=60, widget=typed_on())
    form = forms.ChoiceField(label="Form", choices=[(one.value, one.label) for one in COUNTER_FORMS])
    description = forms.CharField(label="Description", required=False, max_length=300, widget=typed_on())
    reason = forms.CharField(
        label="Reason",
        max_length=300,
        help_text="Like: origin not shown, mercury, radioactive, stolen goods suspected, below the least weight.",
    )
    place = forms.ModelChoiceField(label="At", queryset=counter.counters(), empty_label=None)
    field_order = (
        "brought_by", "party", "identity_kind", "identity_number", "form", "description", "reason", "scale", "gross",
        "place", "at",
    )  # fmt: skip

    def __init__(self, *args, viewer: User, **kwargs):
        self.viewer = viewer
        self.known = None
        super().__init__(*args, **kwargs)
        self.fields["place"].initial = counter.counters().first()

    def clean(self):
        told = super().clean()
        typed = told.get("party", "")
        if typed:
            self.known = find_party(self.viewer, typed)
            if self.known is None:
                self.add_error(
                    "party", f"There is no one party “{typed[:60]}”. Take one from the list, or leave it blank."
                )
        return told


@needs(Verb.RECEIVE)
def refuse(request: HttpRequest) -> HttpResponse:
    """A parcel that is not taken in: alone, or with a receipt (?receipt=)."""
    receipt = _receipt(request)
    sent = request.POST if request.method == "POST" else None
    said = {"brought_by": receipt.delivered_by, "party": str(receipt.party)} if receipt else None
    form = RefusalForm(sent, viewer=request.user, initial=said, **weighing_kwargs(request.user))
    if sent and form.is_valid():
        one = _record(request, form, receipt)
        if one:
            messages.success(
                request, f"Refused parcel {one.pk} is in the register. The metal went back to {one.brought_by}."
            )
            return redirect("refused", one.pk)
    return render(
        request,
        "staff/counter/refuse.html",
        {
            "form": form,
            "receipt": receipt,
            "parties": counter.party_choices(request.user),
            "cancel_url": reverse("receipt", args=[receipt.number]) if receipt else reverse("refusals"),
        },
    )


@require_safe
@needs(Verb.READ_BOOK)
def register(request: HttpRequest) -> HttpResponse:
    """The register of refused parcels, the latest first."""
    found = Paginator(registers.refused_parcels(request.user), A_PAGE).get_page(request.GET.get("page"))
    new = [Action(label="Refuse a parcel", url=reverse("refuse"))] if may(request.user.roles, Verb.RECEIVE) else []
    return render(
        request, "staff/counter/register.html",
        {
            "title": "Refused parcels",
            "under": "Metal that was brought and not taken in. It never stood in the book.",
            "actions": new,
            "table": RefusedTable(found.object_list),
            "found": found,
        },
    )  # fmt: skip


@require_safe
@needs(Verb.READ_BOOK)
def refused(request: HttpRequest, number: int) -> HttpResponse:
    """One refused parcel."""
    one = get_object_or_404(registers.refused_parcels(request.user), pk=number)
    return render(request, "staff/counter/refused.html", {"one": one, "panels": [_what(one), _who(one, request.user)]})


def _record(request: HttpRequest, form: RefusalForm, receipt: Operation | None) -> RefusedParcel | None:
    told = form.cleaned_data
    try:
        return refuse_parcel(
            brought_by=told["brought_by"],
            form=Form(told["form"]),
            reason=told["reason"],
            place=told["place"],
            at=form.moment,
            by=request.user,
            description=told["description"],
            identity_kind=IdentityKind(told["identity_kind"]) if told["identity_kind"] else None,
            identity_number=told["identity_number"],
            weighed=form.weighed,
            receipt=receipt,
            party=form.known,
            request_key=told["request_key"],
        )
    except (Refusal, Refused) as refusal:
        form.refuse(refusal)
        return None


def _receipt(request: HttpRequest) -> Operation | None:
    number = request.GET.get("receipt", "")
    return scope.receipts(request.user).select_related("party").filter(number=number).first() if number else None


def _what(one: RefusedParcel) -> Panel:
    facts = [
        Fact(label="Form", value=one.get_form_display()),
        Fact(label="Description", value=one.description),
        Fact(label="Gross", mg=one.gross_mg),
        Fact(label="Scale", value=one.scale.code if one.scale else "not weighed"),
        Fact(label="Reason", value=one.reason),
    ]
    return Panel(title="What was brought", facts=facts, note="Never in the book, in nobody's custody here.")


def _who(one: RefusedParcel, viewer: User) -> Panel:
    identity = f"{one.get_identity_kind_display()} {scope.identity_number(viewer, one.identity_number)}".strip()
    facts = [
        Fact(label="Brought by", value=one.brought_by),
        Fact(label="Handed back to", value=f"{one.brought_by}, at once"),
        Fact(label="Identity seen", value=identity if one.identity_kind else "none"),
        Fact(label="When", at=one.at),
        Fact(label="At", value=one.place.name),
        Fact(label="Refused by", value=str(one.by)),
    ]
    if one.party:
        url = reverse("party", kwargs={"code": one.party.code})
        facts.insert(1, Fact(label="Party", value=one.party.name, url=url))
    if one.receipt:
        url = reverse("receipt", args=[one.receipt.number])
        facts.append(Fact(label="Came with receipt", value=one.receipt.number, url=url))
    return Panel(title="Who", facts=facts)
