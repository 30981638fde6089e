"""Who fetches metal: by which order, by what name, and which identity was seen. For the gate and for returns."""

from django import forms

from custody.actions.move import Collected
from custody.terms import IdentityKind

FIELDS = ("order", "collector", "identity_kind", "identity_number")


class CollectorFields(forms.Form):
    """Fields of one collection, for an entry: ``class GateForm(CollectorFields, EventForm)``."""

    order = forms.CharField(
        label="By the order", max_length=120, help_text="The owner's order: its number or date, and who gave it."
    )
    collector = forms.CharField(label="Fetched by", max_length=200, help_text="The person at the gate, by full name.")
    identity_kind = forms.ChoiceField(label="Known by", choices=[("", "choose…"), *IdentityKind.choices()])
    identity_number = forms.CharField(
        label="Number",
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off", "data-scan": True}),
        help_text="Of the paper; of one known by sight, since when.",
    )

    @property
    def collected(self) -> Collected:
        """What the action is told."""
        said = self.cleaned_data
        return Collected(
            said["order"],
            said["collector"],
            IdentityKind(said["identity_kind"]),
            said["identity_number"],
            said.get("carrier", ""),
        )
