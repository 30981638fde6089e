"""Entries about water: the permit's limits, and a discharge."""

import re

from django import forms

from custody.calc.solutions import milligrams_a_litre
from custody.staff.solution_fields import LitresField, PhField
from custody.web.forms import BaseForm, BaseRows, DayField, EventForm, RowForm, rows_of

_SUBSTANCE = re.compile(r"[A-Z][A-Za-z0-9-]{0,7}")


class LimitField(LitresField):
    """Milligrams a litre, cleaned to micrograms a litre."""

    what, most = "limit", 3_000_000

    def show(self, value: int) -> str:
        return milligrams_a_litre(value)


class LimitLine(RowForm):
    """One substance and its limit."""

    substance = forms.CharField(label="Substance", max_length=8)
    most = LimitField(label="At most, mg/L", zero=True)

    def clean_substance(self):
        said = self.cleaned_data["substance"].strip()
        if not _SUBSTANCE.fullmatch(said) or said == "pH":
            raise forms.ValidationError("Write a symbol, like Cu, CN or NH3-N. The pH has fields of its own.")
        return said


class Limits(BaseRows):
    title, row_word, add_label, required, lot_field = "Limits", "limit", "Add a limit", False, "substance"
    note = "As the permit says. What has a limit must be measured before water leaves."


class LimitsForm(BaseForm):
    """From when, and the range of the pH."""

    valid_from = DayField(label="From")
    ph_least = PhField(label="pH at least", required=False)
    ph_most = PhField(label="pH at most", required=False)
    note = forms.CharField(label="Permit", required=False, max_length=300, help_text="Which paper says so.")

    def clean(self):
        cleaned = super().clean()
        least, most = cleaned.get("ph_least"), cleaned.get("ph_most")
        if (least is None) != (most is None) and not {"ph_least", "ph_most"} & set(self.errors):
            self.add_error("ph_most", "Give both ends of the pH, or none.")
        elif least is not None and most is not None and least > most:
            self.add_error("ph_most", "The most is not under the least.")
        return cleaned


class DischargeForm(EventForm):
    """How many litres leave."""

    volume = LitresField(label="Discharged, L")
    note = forms.CharField(label="In words", required=False, max_length=300)

    field_order = ("volume", "at", "note")


LimitRows = rows_of(LimitLine, Limits, extra=3)
