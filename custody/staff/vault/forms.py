"""Entries of the vault desk."""

from django import forms

from custody.actions.move import Passing
from custody.models import Lot, User
from custody.queries import holdings
from custody.terms import Against
from custody.web.forms import BaseRows, EventForm, GramsField, RowForm, rows_of
from custody.web.lot_field import LotField
from custody.web.lot_list import LotListField


class HandoverForm(EventForm):
    """To whom lots pass, where, and when."""

    to_person = forms.ModelChoiceField(label="To", queryset=User.objects.none(), empty_label="choose a person")
    to_place = forms.ModelChoiceField(label="Place", queryset=None, to_field_name="code", empty_label="choose a place")
    note = forms.CharField(label="Note", required=False, max_length=300)
    at_book = LotListField(
        label="Lots that pass at book, not weighed",
        required=False,
        help_text="Scan one after the other; each stands on a line of its own.",
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["to_person"].queryset = holdings.takers()
        self.fields["to_place"].queryset = holdings.places()


class PassingRow(RowForm):
    """One lot with its check weighing."""

    lot = LotField(label="Lot")
    weighed = GramsField(
        label="Weighed, g", what="check weighing", required=False, help_text="Blank: at book, not weighed."
    )

    def passing(self, lots: dict[str, Lot]) -> Passing:
        """What passes, under the lot's own number where it is known."""
        code = self.cleaned_data["lot"].strip()
        return Passing(lots[code].number if code in lots else code, self.cleaned_data["weighed"])


class PassingRows(BaseRows):
    """Lots that are weighed as they pass."""

    title = "Lots that are weighed"
    row_word = "lot"
    add_label = "Add a lot"
    note = "Scan the lot, then let the scale or the hand write its gross; Enter moves on."
    required = False


PassingRowSet = rows_of(PassingRow, PassingRows, extra=8)


class TakeOverForm(EventForm):
    """Who takes over everything at a place. ``seen`` is the mark of the list that was shown."""

    to_person = forms.ModelChoiceField(label="Taken over by", queryset=User.objects.none())
    note = forms.CharField(label="Note", required=False, max_length=300)
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["to_person"].queryset = holdings.takers()


class GateForm(EventForm):
    """To whom metal leaves and by what right. ``seen`` is the mark of what was shown before."""

    party = forms.ModelChoiceField(label="To", queryset=None, to_field_name="code", empty_label="choose a party")
    against = forms.ChoiceField(label="It leaves as", choices=Against.choices(), widget=forms.RadioSelect)
    reason = forms.CharField(
        label="Order or note", required=False, max_length=300, help_text="Like: carrier, order number, seal."
    )
    lots = LotListField(
        label="Lots and bars", help_text="Scan one after the other, each on a line of its own; each leaves whole."
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args, parties, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["party"].queryset = parties
