"""Entries of the sampler's desk."""

from collections.abc import Sequence
from typing import Any

from django import forms

from custody.actions.work import Drawn, Make
from custody.calc.mass import format_grams
from custody.calc.scales import Reweighing
from custody.models import Lot
from custody.staff.entry import StepForm
from custody.staff.lines import Choices, Line, Lines, LotsOut, WholeLot, place_field
from custody.terms import Form, SampleCut, SamplePurpose
from custody.web.forms import rows_of
from custody.web.weighing import Scales, WeighingFields, scale_choices

MELTED_INTO = (Form.MELT, Form.GRANULES, Form.SLAG, Form.CRUCIBLE, Form.SWEEPINGS)


class ScaleForm(StepForm):
    """A step of which one scale weighs everything; rows ask its code."""

    scale = forms.ChoiceField(label="Scale", widget=forms.Select(attrs={"data-scale": True}))
    field_order = ("scale", "place", "at", "reason")

    def __init__(self, *args, scale: str = "", scales: Scales, **kwargs):
        super().__init__(*args, **kwargs)
        field = self.fields["scale"]
        field.initial = scale if scale in scales else ""
        field.choices = [*([] if field.initial else [("", "choose…")]), *scale_choices(scales)]


class ParcelIn(WeighingFields, WholeLot):
    """A parcel that is weighed again before the melt. Its book's weight goes in; the scale's is compared with it."""

    scale = None
    silent = frozenset({"lot"})
    pick = forms.BooleanField(
        label="Goes into the melt", required=False, widget=forms.CheckboxInput(attrs={"data-balance-pick": True})
    )
    field_order = ("lot", "pick", "gross", "tare")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["lot"].widget.attrs["readonly"] = True
        del self.fields["gross"].widget.attrs["data-metal"]  # the balance counts the book's weight, not the scale's
        self.fields["gross"].label = "Weighed, g"

    def lot_in(self, lots: dict[str, Lot]) -> Lot | None:
        """The lot, where it is known."""
        return lots.get(self.cleaned_data["lot"].strip())

    def number(self, lots: dict[str, Lot]) -> str:
        """The lot's own number where it is known."""
        lot = self.lot_in(lots)
        return lot.number if lot else self.cleaned_data["lot"].strip()

    def tell(self, lot: Lot, weighed_mg: int, difference: Reweighing) -> None:
        """Says how far the weight is off and how far it may be, and what is to be done."""
        off = format_grams(abs(difference.difference_mg))
        more = "more" if difference.difference_mg > 0 else "less"
        self.add_error(
            "gross",
            f"Lot {lot.number} weighs {format_grams(weighed_mg)} g, {off} g {more} than the book; both scales together"
            f" may be {format_grams(difference.allowed_ug // 1000)} g off. Weigh it again. If it stays, give the reason"
            " and have a manager countersign.",
        )

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("pick") and cleaned.get("gross") is None and "gross" not in self.errors:
            self.add_error("gross", "The weight is missing: every parcel is weighed again before the melt.")
        elif cleaned.get("gross") is not None and not cleaned.get("pick"):
            self.add_error("pick", "Tick the parcel, or clear its weight.")
        return cleaned


class ParcelsIn(Lines):
    title, row_word, side = "Parcels in", "parcel", "in"
    note = "Each is weighed again. The weight in the book goes in; what the scale says now is compared with it."
    template_name = "staff/sampling/parcels.html"


class MeltOut(WeighingFields, Line):
    """What came out of the furnace, on the scale."""

    scale = None
    silent = frozenset({"form"})
    form = forms.ChoiceField(
        label="Form", choices=[(form.value, form.label) for form in MELTED_INTO], initial=Form.MELT.value
    )
    field_order = ("form", "gross", "tare")

    def make(self, scale: str) -> Make:
        """The lot, by what the scale says without its container."""
        weighed = self.weighed_on(scale)
        return Make(Form(self.cleaned_data["form"]), weighed.net_mg, weighed=weighed)


class MeltsOut(LotsOut):
    note = "The metal after the melt without its dip samples, and the slag if it is kept: it can hold metal."


class SampleLine(WeighingFields, Line):
    """One sample: its weight, whom it is for, its seal, and where on the lot it was taken."""

    silent = frozenset({"scale", "purpose", "place"})
    purpose = forms.ChoiceField(label="For", choices=SamplePurpose.choices(), initial=SamplePurpose.LABORATORY.value)
    seal = forms.CharField(label="Seal", max_length=60, required=False)
    position = forms.CharField(label="Position", max_length=120, required=False, help_text="Like: top, bottom.")
    field_order = ("gross", "tare", "purpose", "seal", "position")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["gross"].label = "Gross, g"
        for name in ("seal", "position"):
            self.fields[name].widget.attrs |= {"data-scan": True, "autocomplete": "off"}

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("gross") is None and "gross" not in self.errors:
            self.add_error("gross", "The weight of the sample is missing.")
        if cleaned.get("purpose") in (SamplePurpose.UMPIRE, SamplePurpose.CUSTOMER) and not cleaned.get("seal"):
            self.add_error("seal", "A sample for the umpire or the customer is sealed: write the seal's number.")
        return cleaned

    def make(self, scale: str, cut: SampleCut, witness: str) -> Make:
        """The sample lot, by what the scale says without its container."""
        weighed = self.weighed_on(scale)
        said = self.cleaned_data
        drawn = Drawn(cut, SamplePurpose(said["purpose"]), said["seal"].strip(), said["position"].strip(), witness)
        return Make(Form.SAMPLE, weighed.net_mg, place=said.get("place", ""), weighed=weighed, drawn=drawn)


class SampleOfForm(SampleLine):
    """A sample on the form's own scale; where it is put is said of each."""

    scale = None

    def __init__(self, *args, places: Choices = (), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["place"] = place_field("where the lot stands", places)


class Samples(Lines):
    title, row_word, add_label, side, lot_field = "Samples", "sample", "Add a sample", "out", ""
    note = "Each sample becomes a lot of its own. The rest stays under the lot's number."


class Dip(SampleLine):
    """A sample taken from the liquid metal, on a scale of its own."""

    field_order = ("scale", "gross", "tare", "purpose", "seal", "position")


class Dips(Samples):
    title, row_word, add_label, required = "Dip samples", "dip sample", "Add a dip sample", False
    note = "Taken from the liquid metal, so not part of the melt's weight. Other samples are drawn from the melt later."


MeltOutRows = rows_of(MeltOut, MeltsOut)
SampleRows = rows_of(SampleOfForm, Samples)
DipRows = rows_of(Dip, Dips, extra=2)


def parcel_rows(data: Any, lots: Sequence[dict], **options: Any) -> forms.BaseFormSet:
    """One row for each parcel that may go in, none more."""
    return rows_of(ParcelIn, ParcelsIn, extra=0)(data, prefix="in", initial=lots, form_kwargs=options)
