"""Indications by X-rays or density: beside the lot, never in the book."""

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from custody.actions.indications import ALLOWED, indicate
from custody.calc.density import Indication, density_of, gold_indicated
from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.calc.rounding import half_even
from custody.errors import Refusal
from custody.models import Lot
from custody.queries import scope
from custody.terms import METALS, Method
from custody.web.access import needs
from custody.web.forms import EventForm, GramsField, PerMilleField
from custody.web.tables import BaseTable, FinenessColumn, MomentColumn

XRF, DENSITY = "xrf", "density"


class IndicationForm(EventForm):
    """What the instrument showed: a fineness by X-rays, or the weights of a piece in air and hanging in water."""

    by_what = forms.ChoiceField(
        label="By",
        choices=[(XRF, "X-rays (XRF)"), (DENSITY, "density in water")],
        widget=forms.RadioSelect,
        initial=XRF,
    )
    metal = forms.ChoiceField(label="Metal", choices=[(metal, metal) for metal in METALS], initial="Au")
    shown = PerMilleField(label="Shown, ‰", what="fineness shown", required=False, zero=True)
    in_air = GramsField(label="In air, g", what="weight in air", required=False)
    in_water = GramsField(label="In water, g", what="weight in water", required=False, zero=True)
    note = forms.CharField(label="Note", required=False, max_length=200, help_text="Like: instrument, spots measured.")
    field_order = ("by_what", "metal", "shown", "in_air", "in_water", "note", "at")

    def clean(self):
        told = self.cleaned_data
        wanted = ("shown",) if told.get("by_what") == XRF else ("in_air", "in_water")
        for name in wanted:
            if name not in self.errors and told.get(name) is None:
                self.add_error(name, f"{self.fields[name].label} is missing.")
        if told.get("by_what") == DENSITY and told.get("metal") != "Au":
            self.add_error("metal", "Density is read for gold only; take X-rays for another metal.")

    def found(self) -> tuple[Method, Indication, str]:
        """The method, the range that it suggests, and the figures in words. Raises ``Refused``."""
        told = self.cleaned_data
        if told["by_what"] == XRF:
            return Method.XRF, Indication(told["shown"], told["shown"]), told["note"]
        try:
            density = density_of(told["in_air"], told["in_water"])
            suggested = gold_indicated(density)
        except Refused as refused:
            raise Refused(refused.sentence, field="in_water") from refused
        grams = f"{format_grams(told['in_air'])} g in air, {format_grams(told['in_water'])} g in water"
        kg = half_even(density.numerator, density.denominator)
        return Method.DENSITY, suggested, "; ".join(filter(None, (f"{grams}: {kg} kg/m³", told["note"])))


class IndicationTable(BaseTable):
    """Indications of one lot, the last one first."""

    caption = "Indications, never determinations"
    empty_text = "Nothing was indicated yet."
    method = tables.Column("By")
    metal = tables.Column("Metal")
    low = FinenessColumn("From", accessor="low_ppm")
    high = FinenessColumn("To", accessor="high_ppm")
    figures = tables.Column("Shown")
    by = tables.Column("Read by")
    at = MomentColumn("When")

    class Meta:
        orderable = False


@require_http_methods(["GET", "HEAD", "POST"])
@needs(*ALLOWED)
def indication(request: HttpRequest, number: str) -> HttpResponse:
    """Records an indication of a lot, and shows the earlier ones."""
    lot = get_object_or_404(scope.lots(request.user), number=number)
    form = IndicationForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid() and _record(request, form, lot):
        return redirect("indication", number=lot.number)
    table = IndicationTable(lot.indications.select_related("by").order_by("-id"))
    return render(request, "staff/laboratory/indication.html", {"lot": lot, "form": form, "table": table})


def _record(request: HttpRequest, form: IndicationForm, lot: Lot) -> bool:
    try:
        method, found, figures = form.found()
        indicate(
            lot=lot,
            method=method,
            metal=form.cleaned_data["metal"],
            found=found,
            figures=figures,
            at=form.moment,
            by=request.user,
            request_key=form.cleaned_data["request_key"],
        )
    except (Refusal, Refused) as refusal:
        form.refuse(refusal)
        return False
    messages.success(request, f"The indication of lot {lot.number} is kept beside it. It values nothing.")
    return True
