"""The entry of the gate."""

from django import forms

from custody.terms import Against
from custody.web.collector import FIELDS as COLLECTOR
from custody.web.collector import CollectorFields
from custody.web.forms import EventForm
from custody.web.lot_list import LotListField

#: By what right metal leaves here; parcels that go back unmelted leave from the page of their receipt.
RIGHTS = [(right.value, right.label) for right in Against if right is not Against.RETURNED]


class GateForm(CollectorFields, EventForm):
    """To whom metal leaves, by what right, and who fetches it. ``seen`` is the mark of what was shown before."""

    party = forms.ModelChoiceField(label="To", queryset=None, to_field_name="code", empty_label="choose a party")
    against = forms.ChoiceField(label="It leaves as", choices=RIGHTS, widget=forms.RadioSelect)
    reason = forms.CharField(
        label="Note", required=False, max_length=300, help_text="Like: carrier, vehicle, seal of the box."
    )
    lots = LotListField(
        label="Lots and bars", help_text="Scan one after the other, each on a line of its own; each leaves whole."
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    field_order = ("party", "against", "lots", *COLLECTOR, "reason", "at")

    def __init__(self, *args, parties, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["party"].queryset = parties
