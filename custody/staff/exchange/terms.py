"""The terms on which assays are exchanged with a party."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from custody.actions.exchanges import agree_exchange
from custody.calc.exchange import UmpireRule
from custody.errors import Refusal
from custody.queries import exchanges as queries
from custody.queries import scope
from custody.queries.parties import find_party
from custody.roles import Verb
from custody.web.access import needs
from custody.web.forms import BaseForm, CountField, DayField, PerMilleField, ScanField


def _limit(metal: str) -> PerMilleField:
    return PerMilleField(label=f"{metal}, splitting limit, ‰", what=f"limit of {metal}", required=False, zero=True)


class ExchangeTermsForm(BaseForm):
    """What is agreed from a day on. A metal without a limit: the refinery's result counts."""

    valid_from = DayField(
        label="Valid from",
        initial=timezone.localdate,
        help_text="For receipts of that day and later.",
    )
    au_limit_ppm = _limit("Au")
    ag_limit_ppm = _limit("Ag")
    pt_limit_ppm = _limit("Pt")
    pd_limit_ppm = _limit("Pd")
    rule = forms.ChoiceField(
        label="Outside the limit counts",
        choices=UmpireRule.choices(),
        help_text="The party farther from the umpire pays the umpire's assay; midway, half each.",
    )
    umpire = ScanField(
        label="Umpire laboratory",
        required=False,
        help_text="A party, by its code. Blank: agreed when needed.",
    )
    days = CountField(
        label="Days for the customer",
        what="number of days",
        required=False,
        help_text="After the refinery's is in. Then the refinery's counts alone. Blank: no end.",
    )
    ended = forms.BooleanField(label="From this day on nothing is exchanged", required=False)

    def __init__(self, *args, viewer, party, **kwargs):
        super().__init__(*args, **kwargs)
        self.viewer, self.party = viewer, party

    def clean_umpire(self):
        typed = self.cleaned_data["umpire"]
        if not typed:
            return None
        found = find_party(self.viewer, typed)
        if found is None:
            raise forms.ValidationError(f"There is no party {typed}. Enter the laboratory as a party first.")
        if found == self.party:
            raise forms.ValidationError("The umpire is a third laboratory, not the party itself.")
        return found

    def clean_days(self):
        days = self.cleaned_data["days"]
        if days is not None and days > 3650:
            raise forms.ValidationError("Give at most 3650 days, or leave it blank.")
        return days

    def clean(self):
        said = super().clean()
        limits = [said.get(name) for name in ("au_limit_ppm", "ag_limit_ppm", "pt_limit_ppm", "pd_limit_ppm")]
        if not said.get("ended") and not self.errors and all(limit is None for limit in limits):
            self.add_error("au_limit_ppm", "Give the splitting limit of one metal at least, or end the exchange.")
        return said

    @property
    def agreed(self) -> dict:
        """What the action is told of the terms."""
        return {name: value for name, value in self.cleaned_data.items() if name != "request_key"}


@require_http_methods(["GET", "POST"])
@needs(Verb.SETTLE)
def agree(request: HttpRequest, code: str) -> HttpResponse:
    """Records how assays are exchanged with a party; earlier terms stay and are shown as the starting point."""
    one = get_object_or_404(scope.parties(request.user), code=code)
    form = ExchangeTermsForm(request.POST or None, viewer=request.user, party=one, initial=_latest(one))
    if request.method == "POST" and form.is_valid():
        try:
            agreed = agree_exchange(party=one, by=request.user, **form.agreed)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            what = "ends" if agreed.ended else "is agreed"
            messages.success(request, f"The exchange of assays with {one.code} {what} from {agreed.valid_from} on.")
            return redirect("party", code=one.code)
    context = {
        "kind": "Party",
        "title": f"Exchange of assays with {one.name}",
        "form": form,
        "action_label": "Record the terms",
        "cancel_url": reverse("party", kwargs={"code": one.code}),
    }
    return render(request, "staff/exchange/entry.html", context)


def _latest(party) -> dict:
    """The last terms, as the form shows them."""
    known = queries.agreed_with(party)
    if not known:
        return {}
    names = ("au_limit_ppm", "ag_limit_ppm", "pt_limit_ppm", "pd_limit_ppm", "rule", "days")
    umpire = known[0].umpire
    return {name: getattr(known[0], name) for name in names} | {"umpire": umpire.code if umpire else ""}
