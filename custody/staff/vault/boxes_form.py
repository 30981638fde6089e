"""Entries of boxes and of lists of bars."""

from django import forms

from custody.models import Place
from custody.queries import holdings
from custody.web.forms import DayField, EventForm, KitForm, ScanField
from custody.web.lot_list import LotListField


class PackForm(EventForm):
    """Bars that are packed under one seal, in the order of the box."""

    bars = LotListField(
        label="Bars", help_text="Scan each serial as you put the bar in. All stand at one place, in your hands."
    )
    seal = ScanField(label="Seal", max_length=60)
    note = forms.CharField(label="Note", required=False, max_length=300)
    field_order = ("bars", "seal", "note", "at")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["bars"].widget.attrs["data-tally"] = True


class OpenForm(EventForm):
    """Why a box is opened."""

    reason = forms.CharField(label="Reason", max_length=300, help_text="Why the seal is broken.")
    field_order = ("reason", "at")


class ListForm(KitForm):
    """Which bars a list is of: one of its fields, or the days of casting."""

    dispatch = ScanField(label="Dispatch", required=False)
    box = ScanField(label="Box or seal", required=False)
    cast = ScanField(label="Casting operation", required=False)
    place = forms.ModelChoiceField(
        label="Place", queryset=Place.objects.none(), to_field_name="code", empty_label="any", required=False
    )
    since = DayField(label="Cast from", required=False)
    until = DayField(label="Cast until", required=False)

    mark_optional = False

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["place"].queryset = holdings.places()

    def clean(self):
        said = super().clean()
        since, until = said.get("since"), said.get("until")
        if bool(since) != bool(until):
            self.add_error("until" if since else "since", "Give both days; they may be the same.")
        elif since and since > until:
            self.add_error("until", "The last day lies before the first.")
        named = [name for name in ("dispatch", "box", "cast", "place", "since") if said.get(name)]
        if not named and not self.errors:
            raise forms.ValidationError("Say which bars: name a dispatch, a box, a cast, a place, or two days.")
        if len(named) > 1:
            self.add_error(named[1], "A list is of one of these: clear the others.")
        return said
