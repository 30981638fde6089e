"""Entries of the scales' desk: a scale by its plate, a reference weight, a check, a fault."""

import re
from typing import ClassVar

from django import forms
from django.utils import timezone

from custody.actions.scales import Load
from custody.calc import mass, reading
from custody.calc import scales as calc
from custody.calc.refusals import Refused
from custody.calc.weights import Weight, WeightClass
from custody.models import Place, ReferenceWeight
from custody.queries.scales import weight_of
from custody.web.forms import BaseForm, BaseRows, DayField, EventForm, GramsField, RowForm, ScanField, rows_of

MOST_LOADS = 10
_CERTIFICATE = "Of its certificate; blank without one."


class FineGramsField(GramsField):
    """Grams as a balance shows them, cleaned to integer micrograms: up to six decimals, or mg with three."""

    def parse(self, text: str) -> int:
        return mass.parse_fine_grams(text, what=self.what, allow_units=True, allow_zero=self.zero)

    def show(self, ug: int) -> str:
        return mass.plain_fine_grams(ug)


class FineMilligramsField(GramsField):
    """Milligrams with at most three decimals, as a certificate has them, cleaned to integer micrograms."""

    def parse(self, text: str) -> int:
        text = text.strip()
        negative = self.signed and text[0] in f"-{mass.MINUS}"
        text = reading.clean(text[negative:], what=self.what, example="0.125")
        size = reading.scaled(text, decimals=3, most=3, what=self.what, example="0.125")
        return -size if negative else size

    def show(self, ug: int) -> str:
        return f"{'-' if ug < 0 else ''}{abs(ug) // 1000}.{abs(ug) % 1000:03d}"


class CodeField(ScanField):
    """The code on a label: capitals, digits, hyphens."""

    def __init__(self, **kwargs):
        super().__init__(**{"label": "Code", "max_length": 30, "help_text": "On its label, like C-1."} | kwargs)

    def to_python(self, value):
        return super().to_python(value).strip().upper()


class _StandardForm(BaseForm):
    """An entry that a standard judges; ``FIELDS`` says which field a refusal of ``calc`` is about."""

    mark_optional = True
    FIELDS: ClassVar = {}

    def judge(self, made):
        """What ``made`` makes of the entry; None where a standard refuses it, said at the field."""
        try:
            return made()
        except Refused as refused:
            field = self.FIELDS.get(refused.field, refused.field)
            self.add_error(field if field in self.fields else None, str(refused))
            return None


class ScaleForm(_StandardForm):
    """A scale as its plate says. Min follows from class and d."""

    code = CodeField()
    name = forms.CharField(label="Name", max_length=120)
    place = forms.ModelChoiceField(label="Stands at", queryset=Place.objects.filter(active=True), empty_label="choose…")
    accuracy = forms.ChoiceField(
        label="Accuracy class", choices=[("", "choose…"), *((one.value, one.value) for one in calc.Accuracy)]
    )
    e = GramsField(label="e, g", what="interval e", help_text="Verification scale interval.")
    d = FineGramsField(
        label="d, g", what="step d", required=False, help_text="Step of the display. Blank: the same as e."
    )
    capacity = GramsField(label="Max, g", what="capacity")

    def clean(self):
        told = super().clean()
        if not self.errors:
            self.plate = self.judge(
                lambda: calc.Scale(calc.Accuracy(told["accuracy"]), told["e"], told["capacity"], told["d"])
            )
        return told


class ReferenceWeightForm(_StandardForm):
    """A reference weight: by its class alone, or with its certificate."""

    FIELDS: ClassVar = {"class": "weight_class"}

    code = CodeField(help_text="On its box, like W-2K.")
    nominal = GramsField(label="Nominal, g", what="nominal value")
    weight_class = forms.ChoiceField(
        label="Class", choices=[("", "choose…"), *((one.value, one.value) for one in WeightClass)]
    )
    certificate = forms.CharField(label="Certificate", required=False, max_length=120)
    deviation = FineMilligramsField(
        label="Deviation, mg", what="deviation", signed=True, required=False, help_text=_CERTIFICATE
    )
    uncertainty = FineMilligramsField(
        label="Uncertainty, mg", what="uncertainty", required=False, help_text="Expanded, k = 2."
    )
    valid_until = DayField(
        label="Valid until",
        required=False,
    )

    def clean(self):
        told = super().clean()
        certified = told.get("certificate")
        if told.get("uncertainty") is not None and not certified:
            self.add_error("certificate", "An uncertainty stands in a certificate: give its number.")
        if certified and told.get("uncertainty") is None and "uncertainty" not in self.errors:
            self.add_error("uncertainty", "A certificate gives an uncertainty: enter it as it stands there.")
        if told.get("valid_until") and told["valid_until"] < timezone.localdate():
            self.add_error("valid_until", "This certificate has run out already.")
        if not self.errors:
            self.weight = self.judge(
                lambda: Weight(
                    told["nominal"],
                    WeightClass(told["weight_class"]),
                    told["deviation"] or 0,
                    told["uncertainty"],
                )
            )
        return told


class CheckForm(EventForm):
    """When the check was done, and a remark."""

    note = forms.CharField(label="Remark", required=False, max_length=300)


class FaultForm(EventForm):
    """Why a scale may not be trusted any more."""

    mark_optional = False

    reason = forms.CharField(
        label="What is wrong with it", max_length=300, widget=forms.Textarea(attrs={"rows": 3, "autofocus": True})
    )


class LoadForm(RowForm):
    """One load of a check: the reference weights on the pan, and what the scale shows."""

    weights = ScanField(
        label="Reference weights",
        max_length=300,
        help_text="Code; several with a space between.",
        error_messages={"required": "Scan the reference weight on the pan."},
    )
    reading = FineGramsField(label="Reading, g", what="reading", zero=True)

    def __init__(self, *args, plate: calc.Scale, weights: dict[str, ReferenceWeight], **kwargs):
        super().__init__(*args, **kwargs)
        self.plate, self.known = plate, weights
        self.fields["weights"].widget.attrs["list"] = "weights"
        self.fields["reading"].widget.attrs |= {"data-weight": "gross", "data-exact": True}

    def clean_weights(self) -> tuple[ReferenceWeight, ...]:
        codes = [code for code in re.split(r"[\s,;+]+", self.cleaned_data["weights"].upper()) if code]
        for code in codes:
            if code not in self.known:
                raise forms.ValidationError(f"There is no reference weight {code[:40]} in use.")
            until = self.known[code].valid_until
            if until and until < timezone.localdate():
                raise forms.ValidationError(f"The certificate of {code} ran out on {until}. Take another weight.")
        if len(set(codes)) != len(codes):
            raise forms.ValidationError("One weight is named twice. Each stands on the pan once.")
        return tuple(self.known[code] for code in codes)

    def clean(self):
        told = self.cleaned_data
        if not self.errors and told.get("weights"):
            try:
                calc.daily_check(self.plate, [weight_of(one) for one in told["weights"]], told["reading"])
            except Refused as refused:
                self.add_error("weights", str(refused))
        return told

    @property
    def load(self) -> Load:
        """What the action is told."""
        return Load(self.cleaned_data["weights"], self.cleaned_data["reading"])


class Loads(BaseRows):
    title, row_word, add_label = "Loads", "load", "Add a load"
    note = "A light and a heavy one at least; three are better."
    lot_field = ""

    def start_here(self) -> None:
        """The cursor begins at the first thing to type, unless there are faults to read first."""
        if not self.is_bound:
            first = self.forms[0]
            field = "reading" if first.initial.get("weights") else "weights"
            first.fields[field].widget.attrs["autofocus"] = True

    @property
    def loads(self) -> list[Load]:
        """What the action is told of the loads, in order."""
        return [form.load for form in self.filled]


LoadRows = rows_of(LoadForm, Loads, extra=3, most=MOST_LOADS)
