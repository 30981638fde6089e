"""Weighing in a form: which scale, gross and tare, keyed by hand or picked up from what the scale sent by itself.

A page with these fields includes templates/ui/weighing.html (the status line) and static/custody/scale.js.
"""

from typing import ClassVar

from django import forms

from custody.actions.weigh import Weighed
from custody.calc.refusals import Refused
from custody.calc.scales import check_load
from custody.models import Scale, User
from custody.queries import scales as queries
from custody.web.asked import id_asked
from custody.web.forms import GramsField

Scales = dict[str, Scale]


def scales_in_use() -> Scales:
    """Scales in use by their codes, with where each stands today."""
    return {scale.code: scale for scale in queries.in_use()}


def scale_choices(scales: Scales | None = None) -> list[tuple[str, str]]:
    """Scales in use, each with its state in words unless it may weigh now: "F-1 Floor scale: not checked today"."""
    scales = scales_in_use() if scales is None else scales
    return [
        (code, str(scale) if scale.passed else f"{scale}: {queries.state_of(scale)}") for code, scale in scales.items()
    ]


def weighing_kwargs(user: User) -> dict:
    """What forms with weighing fields are made with, asked once for all rows: ``form_kwargs=weighing_kwargs(user)``."""
    return {"scale": queries.last_scale_of(user), "scales": scales_in_use()}


class _ReadingField(forms.CharField):
    """The id of a reading, hidden. What is no id counts as none: the weighing was keyed then."""

    widget = forms.HiddenInput

    def __init__(self, which: str):
        super().__init__(required=False, widget=forms.HiddenInput(attrs={"data-reading": which}))

    def to_python(self, value):
        return id_asked(super().to_python(value))


def _weight_field(which: str, **kwargs) -> GramsField:
    field = GramsField(required=False, **kwargs)
    field.widget.attrs |= {"data-weight": which} | ({"data-tare": True} if which == "tare" else {})
    return field


class WeighingFields(forms.Form):
    """Fields of one weighing, for a RowForm or a BaseForm: ``class Row(WeighingFields, RowForm)``.

    ``scale=`` is the code chosen beforehand, ``scales=`` the scales in use (asked anew without it: give it to rows).
    ``must_weigh`` makes the gross needed. Where one scale serves the whole form, set ``scale = None`` and ask
    ``weighed_on(code)``.
    """

    must_weigh: ClassVar[bool] = False

    scale = forms.ChoiceField(label="Scale", required=False, widget=forms.Select(attrs={"data-scale": True}))
    gross = _weight_field("gross", metal="gross")
    tare = _weight_field("tare", label="Tare, g", what="tare", zero=True, help_text="Blank: no container.")
    gross_reading = _ReadingField("gross")
    tare_reading = _ReadingField("tare")

    def __init__(self, *args, scale: str = "", scales: Scales | None = None, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["gross"].required = self.must_weigh
        self.scales = scales_in_use() if scales is None else scales
        if "scale" in self.fields:
            field = self.fields["scale"]
            field.initial = scale if scale in self.scales else ""
            field.choices = [*([] if field.initial else [("", "choose…")]), *scale_choices(self.scales)]

    def clean(self):
        cleaned = super().clean() or self.cleaned_data
        gross, tare = cleaned.get("gross"), cleaned.get("tare")
        if tare and gross and tare >= gross:
            self.add_error("tare", "The tare is not less than the gross. Weigh both again.")
        elif tare and gross is None and "gross" not in self.errors:
            self.add_error("gross", "The gross is missing: a tare alone is no weighing.")
        if "scale" in self.fields and gross and "scale" not in self.errors:
            self._check_scale(cleaned.get("scale"), gross)
        return cleaned

    def _check_scale(self, code: str, gross: int) -> None:
        if not code:
            self.add_error("scale", "Scale is missing. Choose the one that weighed it.")
            return
        try:
            check_load(queries.plate_of(self.scales[code]), gross)
        except Refused as refused:
            self.add_error("gross", str(refused))

    @property
    def weighed(self) -> Weighed | None:
        """The weighing on the row's own scale; None when the gross is blank."""
        return self.weighed_on(self.cleaned_data.get("scale") or "")

    def weighed_on(self, code: str) -> Weighed | None:
        """The weighing on a scale that the form names elsewhere; None when the gross is blank.

        A reading that is not this scale's own, unused and of exactly this mass is left out: it was keyed then.
        """
        told = self.cleaned_data
        if told.get("gross") is None:
            return None
        gross, tare = told["gross"], told.get("tare") or 0
        return Weighed(
            scale=code,
            gross_mg=gross,
            tare_mg=tare,
            gross_reading=_own(told.get("gross_reading"), code, gross),
            tare_reading=_own(told.get("tare_reading"), code, tare),
        )


def _own(reading: int | None, code: str, mass_mg: int) -> int | None:
    return reading if reading and queries.is_reading(reading, code, mass_mg) else None
