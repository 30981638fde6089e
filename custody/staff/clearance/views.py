"""The clearance desk: lots are held or released, with the reason of who has the right to do so."""

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.views.decorators.http import require_http_methods

from custody.actions.clearance import clear_lots
from custody.errors import Refusal
from custody.models import User
from custody.queries import clearance as queries
from custody.queries import scope
from custody.queries.amendments import as_amended
from custody.roles import Verb, may
from custody.templatetags.metal import UNKNOWN
from custody.terms import Clearance
from custody.web.access import needs
from custody.web.forms import EventForm
from custody.web.panels import Action
from custody.web.standing import CLEARANCE_TONES, origin_words
from custody.web.tables import BaseTable, FinenessColumn, LotColumn, MassColumn, StatusColumn

DECISIONS = [(Clearance.RELEASED.value, "Release"), (Clearance.HELD.value, "Hold")]


class DecisionForm(EventForm):
    """One decision on the lots that are ticked in the list."""

    lots = forms.MultipleChoiceField(label="Lots", required=False)
    decision = forms.ChoiceField(label="Decision", choices=DECISIONS, widget=forms.RadioSelect)
    reason = forms.CharField(
        label="Reason",
        max_length=1000,
        widget=forms.Textarea,
        help_text="What was seen, asked or found. It stays with the lots for ever.",
    )
    field_order = ("lots", "decision", "reason", "at")

    def __init__(self, *args, viewer: User, **kwargs):
        super().__init__(*args, **kwargs)
        ticked = self.data.getlist("lots") if self.is_bound else []
        known = scope.lots(viewer).filter(number__in=[number for number in ticked if "\0" not in number])
        self.fields["lots"].choices = [(number, number) for number in known.values_list("number", flat=True)]
        self.fields["lots"].error_messages["invalid_choice"] = "There is no lot %(value)s. Tick lots of the list."

    def clean_lots(self):
        if not self.cleaned_data["lots"]:
            raise forms.ValidationError("Tick the lots that you decide on.")
        return self.cleaned_data["lots"]

    def visible_fields(self):
        """The decision; its lots are ticked in the list above."""
        return [bound for bound in super().visible_fields() if bound.name != "lots"]


class DecideTable(BaseTable):
    caption = "Lots to decide on"
    empty_text = "No lot awaits release, and none is held."

    pick = tables.Column(empty_values=(), verbose_name="Decide", orderable=False)
    number = LotColumn(verbose_name="Lot", orderable=False)
    clearance = StatusColumn(verbose_name="Standing", tones=CLEARANCE_TONES, orderable=False)
    receipt = tables.Column(empty_values=(), verbose_name="Receipt, party", orderable=False)
    form = tables.Column(accessor="get_form_display", orderable=False)
    gross_mg = MassColumn("Gross", orderable=False)
    declared_origin = tables.Column(empty_values=(), orderable=False)
    declared = FinenessColumn("Declared Au", accessor="parcel__declared_au_ppm", orderable=False)
    reason = tables.Column(verbose_name="Last reason", orderable=False)

    def __init__(self, *args, ticked: set[str], may_decide: bool, **kwargs):
        self.ticked = ticked
        super().__init__(*args, exclude=() if may_decide else ("pick",), **kwargs)

    def render_pick(self, record):
        told = {"number": record.number, "ticked": record.number in self.ticked}
        return render_to_string("staff/clearance/pick.html", told)

    def render_receipt(self, record):
        if record.receipt is None:
            return UNKNOWN
        return render_to_string("staff/clearance/receipt.html", {"receipt": record.receipt})

    def render_declared_origin(self, record):
        return origin_words(record) or UNKNOWN


@require_http_methods(["GET", "POST"])
@needs(Verb.CLEAR, Verb.READ_BOOK)
def clearance(request: HttpRequest) -> HttpResponse:
    """The list of lots to decide on; whoever has the right decides on those ticked."""
    may_decide = may(request.user.roles, Verb.CLEAR)
    form = DecisionForm(request.POST if request.method == "POST" else None, viewer=request.user)
    if request.method == "POST" and form.is_valid() and _decided(request, form):
        return redirect("clearance")
    narrow = {name: request.GET.get(name, "") for name in ("receipt", "lot")}
    lots = list(queries.to_decide(request.user, **narrow)[: queries.LISTED])
    as_amended(lot.parcel for lot in lots if hasattr(lot, "parcel"))
    if request.method == "POST":
        ticked = set(request.POST.getlist("lots"))
    else:
        ticked = {lot.number for lot in lots} if any(narrow.values()) else set()
    return render(
        request,
        "staff/clearance/clearance.html",
        {
            "form": form,
            "may_decide": may_decide,
            "table": DecideTable(lots, ticked=ticked, may_decide=may_decide),
            "narrow": next((value for value in narrow.values() if value), ""),
            "actions": [Action(label="All lots to decide on", url=request.path)] if any(narrow.values()) else [],
        },
    )


def _decided(request: HttpRequest, form: DecisionForm) -> bool:
    told = form.cleaned_data
    decision = Clearance(told["decision"])
    try:
        changed = clear_lots(
            lots=told["lots"], clearance=decision, reason=told["reason"], at=form.moment, by=request.user
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return False
    same = sorted(set(told["lots"]) - set(changed))
    if changed:
        messages.success(request, f"{_named(changed)} {decision.label}: {', '.join(changed)}.")
    if same:
        messages.info(request, f"{_named(same)} {decision.label} already, and nothing was added: {', '.join(same)}.")
    return True


def _named(lots: list[str]) -> str:
    return "1 lot is" if len(lots) == 1 else f"{len(lots)} lots are"
