"""Forms of the parties: who they are, and the terms agreed with them."""

from django import forms
from django.utils import timezone

from custody.calc import currencies
from custody.web.forms import BaseForm, CountryField, DayField, MoneyField, PercentField
from custody.web.party_code import PartyCodeField


def today():
    """The refinery's local day."""
    return timezone.localdate()


class PartyForm(BaseForm):
    """Who a party is."""

    name = forms.CharField(label="Name", max_length=200)
    country = CountryField()
    address = forms.CharField(label="Address", required=False, max_length=1000, widget=forms.Textarea)
    contact = forms.CharField(label="Contact", required=False, max_length=200)
    note = forms.CharField(label="Note", required=False, max_length=2000, widget=forms.Textarea)

    @property
    def told(self) -> dict[str, str]:
        """What the action is told of the party."""
        return {name: self.cleaned_data[name] for name in ("name", "country", "address", "contact", "note")}


class NewPartyForm(PartyForm):
    """A party that is not known yet."""

    code = PartyCodeField()
    field_order = ("code", "name", "country")


class ChangedPartyForm(PartyForm):
    """A party as somebody read it; ``version`` says which state of it that was."""

    version = forms.IntegerField(widget=forms.HiddenInput)


def _payable(metal: str, initial: int) -> PercentField:
    return PercentField(label=f"{metal} payable, %", what=f"share of {metal}", zero=True, initial=initial)


class TermsForm(BaseForm):
    """What is agreed with a party from a day on."""

    valid_from = DayField(label="Valid from", initial=today)
    currency = forms.ChoiceField(label="Currency", choices=[(code, code) for code in currencies.USUAL])
    au_payable_ppm = _payable("Au", 990_000)
    ag_payable_ppm = _payable("Ag", 950_000)
    pt_payable_ppm = _payable("Pt", 0)
    pd_payable_ppm = _payable("Pd", 0)
    cu_payable_ppm = _payable("Cu", 0)
    refining_charge_per_g = MoneyField(
        label="Refining charge, per g of Au", what="refining charge", decimals=4, zero=True, initial="0"
    )
    treatment_charge = MoneyField(
        label="Treatment charge, per receipt", what="treatment charge", zero=True, initial="0"
    )
    minimum_charge = MoneyField(label="Minimum charge, per receipt", what="minimum charge", zero=True, initial="0")

    @property
    def agreed(self) -> dict:
        """What the action is told of the terms."""
        return {name: value for name, value in self.cleaned_data.items() if name != "request_key"}
