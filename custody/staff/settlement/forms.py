"""The entry that settles a receipt: outturn, terms, prices, and the second person's approval."""

from dataclasses import dataclass

from django import forms
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils import timezone

from custody.actions._sign import Signature, countersign
from custody.calc.rates import Unit
from custody.queries.settling import Price
from custody.roles import Verb
from custody.terms import Outturn
from custody.web.countersign import login_of, password_of
from custody.web.forms import BaseForm, DayField
from custody.web.price_field import PriceField

UNITS = [(Unit.TROY_OUNCE.value, "troy ounce"), (Unit.GRAM.value, "gram")]
#: The fields of the person who approves; asked for once the reckoning was shown.
APPROVAL = ("approver", "approver_password", "approval_meaning")


@dataclass(frozen=True, slots=True)
class PriceFields:
    """The fields of one metal, to be drawn together."""

    metal: str
    fields: tuple[forms.BoundField, ...]


class SettleForm(BaseForm):
    """Outturn, the day whose terms count, a price for each metal, and who approves.

    ``metals`` are those that prices may be needed for. ``seen`` is the mark of the reckoning that was shown. With
    ``issuing`` the approval must be there: only what was reckoned before is approved.
    """

    mark_optional = False

    outturn = forms.ChoiceField(label="Settled in", choices=Outturn.choices(), widget=forms.RadioSelect)
    day = DayField(
        label="Terms in force on",
    )
    reason = forms.CharField(label="Reason for the correction", max_length=500, widget=forms.Textarea)
    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    approver = login_of("Approver")
    approver_password = password_of("Approver")
    approval_meaning = forms.CharField(
        label="What the approval means",
        max_length=200,
        required=False,
        help_text="Like: checked against the assays and the terms.",
    )

    def __init__(self, *args, metals: list[str], currency: str, correction: bool, issuing: bool = False, **kwargs):
        super().__init__(*args, **kwargs)
        self.metals, self.issuing = metals, issuing
        if not correction:
            del self.fields["reason"]
        for metal in metals:
            price = PriceField(what=f"price of {metal}", label=f"Price, {currency}", required=False)
            self.fields[f"price_{metal}"] = price
            self.fields[f"unit_{metal}"] = forms.ChoiceField(label="per", choices=UNITS, initial=Unit.TROY_OUNCE.value)
            source = forms.CharField(
                label="Source", max_length=120, required=False, help_text="Which fixing, of what day."
            )
            source.wide = True
            self.fields[f"source_{metal}"] = source

    @property
    def own_fields(self) -> list[forms.BoundField]:
        """The fields beside prices and approval."""
        return [self[name] for name in ("outturn", "day", "reason") if name in self.fields]

    @property
    def price_fields(self) -> list[PriceFields]:
        """The fields of each metal."""
        return [
            PriceFields(metal, tuple(self[f"{part}_{metal}"] for part in ("price", "unit", "source")))
            for metal in self.metals
        ]

    @property
    def approval_fields(self) -> list[forms.BoundField]:
        """The second person's fields."""
        return [self[name] for name in APPROVAL]

    def clean_day(self):
        day = self.cleaned_data["day"]
        if day > timezone.localdate():
            raise ValidationError("This day is in the future. Give the day whose terms count: that of the delivery.")
        return day

    def clean(self):
        cleaned = super().clean()
        for metal in self.metals:
            if cleaned.get(f"price_{metal}") and not cleaned.get(f"source_{metal}"):
                self.add_error(f"source_{metal}", f"Say where the price of {metal} is from: which fixing, of what day.")
        if self.issuing:
            for name in APPROVAL:
                if not cleaned.get(name):
                    self.add_error(name, ValidationError(f"{self.fields[name].label} is missing.", code="required"))
        return cleaned

    @property
    def outturn_chosen(self) -> Outturn:
        """In what the receipt is settled."""
        return Outturn(self.cleaned_data["outturn"])

    @property
    def prices(self) -> dict[str, Price]:
        """The prices that count: none for an outturn in metal."""
        if self.outturn_chosen is Outturn.METAL:
            return {}
        said = self.cleaned_data
        return {
            metal: Price(said[f"price_{metal}"], Unit(said[f"unit_{metal}"]), said[f"source_{metal}"])
            for metal in self.metals
            if said.get(f"price_{metal}")
        }

    def approval(self, request: HttpRequest) -> Signature:
        """The second person's signature. Failed tries are throttled. Raises ``Refusal``."""
        username, password, meaning = (self.cleaned_data[name] for name in APPROVAL)
        return countersign(username=username, password=password, meaning=meaning, verb=Verb.APPROVE, request=request)

    def refuse(self, refusal: Exception) -> None:
        """As every entry; what is wrong with the approval stands beside the approver's login."""
        if getattr(refusal, "field", "") == "countersign":
            self.add_error(APPROVAL[0], refusal.sentence)
        else:
            super().refuse(refusal)
