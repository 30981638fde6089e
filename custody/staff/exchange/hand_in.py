"""Handing in: the refinery's determination, the customer's letter, the umpire's report. Each once, and for good."""

from collections.abc import Callable

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from custody.actions.exchanges import OPENS_LETTERS, hand_in_determination, hand_in_letter, hand_in_umpire
from custody.calc.fineness import format_per_mille
from custody.errors import Refusal, SealedOnce
from custody.models import Determination, Exchange
from custody.queries import exchanges as queries
from custody.roles import Verb
from custody.terms import METALS
from custody.web.access import needs
from custody.web.exchange import ResultForm
from custody.web.forms import BaseForm


class DeterminationChoice(BaseForm):
    """Which of the lot's determinations is the refinery's result."""

    determination = forms.ChoiceField(
        label="Determination", help_text="As recorded in the laboratory; it can't be changed once handed in."
    )

    def __init__(self, *args, found: list[Determination], **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["determination"].choices = [(one.number, _words(one)) for one in found]


@require_http_methods(["GET", "POST"])
@needs(Verb.DETERMINE)
def refinery(request: HttpRequest, number: str) -> HttpResponse:
    """The laboratory hands in one of its determinations."""
    one = _exchange(request, number)
    found = queries.candidates(one)
    form = DeterminationChoice(request.POST or None, found=found)
    page = {
        "title": "Hand in the refinery's result",
        "action_label": "Hand in",
        "narrow": True,
        "sentence": "It stays sealed to the customer until the customer's result is in."
        if found
        else "The laboratory has no determination of the lot to hand in: determine it first.",
    }

    def act():
        chosen = next(each for each in found if each.number == form.cleaned_data["determination"])
        hand_in_determination(exchange=one, determination=chosen, by=request.user)

    return _hand_in(request, one, form, act, page)


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@needs(*OPENS_LETTERS)
def letter(request: HttpRequest, number: str) -> HttpResponse:
    """The customer's result, from its letter; entered by somebody who has no part in the refinery's."""
    one = _exchange(request, number)
    form = ResultForm(
        request.POST or None, metals=queries.EXCHANGED, asked=list(one.terms.limits_ppm), reference="Letter"
    )
    form.fields["reference"].help_text = "Its number or date, and how it came. It is kept with the exchange."
    page = {
        "title": "Enter the customer's letter",
        "action_label": "Hand in for the customer",
        "sentence": "Who determined the lot, or hands in the refinery's result, does not open the letter. Nobody sees"
        " these figures until both results are in.",
    }
    return _hand_in(request, one, form, lambda: hand_in_letter(**_told(one, form), by=request.user), page)


@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
@needs(Verb.SETTLE)
def umpire(request: HttpRequest, number: str) -> HttpResponse:
    """What the umpire found of the metals in dispute."""
    one = _exchange(request, number)
    disputed = queries.see([one])[0].disputed
    third = one.terms.umpire
    form = ResultForm(
        request.POST or None,
        metals=disputed,
        asked=disputed,
        reference="Report number",
        initial={"laboratory": third.name if third else ""},
    )
    page = {
        "title": "Enter the umpire's report",
        "action_label": "Record the umpire's result",
        "sentence": f"The umpire decides {', '.join(disputed)}."
        if disputed
        else "There is nothing for an umpire to decide in this exchange.",
    }
    return _hand_in(request, one, form, lambda: hand_in_umpire(**_told(one, form), by=request.user), page)


def _hand_in(
    request: HttpRequest, one: Exchange, form: BaseForm, act: Callable[[], None], page: dict[str, object]
) -> HttpResponse:
    """Hands in what was sent and leads back to the exchange. A result that is in already stays, and that is said."""
    back = redirect("exchange", number=one.number)
    if request.method == "POST" and form.is_valid():
        try:
            act()
        except SealedOnce as refusal:
            messages.info(request, refusal.sentence)
            return back
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"The result is in. Exchange {one.number} of lot {one.lot.number} keeps it.")
            return back
    cancel = reverse("exchange", kwargs={"number": one.number})
    context = {"kind": f"Exchange {one.number}, lot {one.lot.number}, {one.party}", "form": form, "cancel_url": cancel}
    return render(request, "staff/exchange/entry.html", context | page)


def _exchange(request: HttpRequest, number: str) -> Exchange:
    return get_object_or_404(queries.listed(request.user), number=number)


def _told(one: Exchange, form: ResultForm) -> dict[str, object]:
    said = form.cleaned_data
    return {"exchange": one, "ppm": form.ppm, "laboratory": said["laboratory"], "reference": said["reference"]}


def _words(one: Determination) -> str:
    found = ", ".join(f"{metal} {format_per_mille(ppm)}" for metal, ppm in zip(METALS, one.ppm, strict=True) if ppm)
    return f"{one.number}: {found} ‰, by {one.by}"
