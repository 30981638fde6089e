"""Assays of solutions: volume, density and what a litre holds, recorded by one person and accepted by another."""

import re

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.actions.solutions import accept_solution, assay_solution
from custody.calc.refusals import Refused
from custody.calc.solutions import Found, hundredths, litres
from custody.errors import Refusal
from custody.models import Lot, SolutionAssay
from custody.queries import scope, tanks
from custody.roles import Verb, may
from custody.staff.entry import sent_before
from custody.staff.laboratory.accept import AcceptForm
from custody.staff.laboratory.solution_tables import (
    TONES,
    AssayChanges,
    SolutionAssays,
    StandingSolutions,
    figures_in_words,
    standing_of,
)
from custody.staff.solution_fields import ConcentrationField, DensityField, LitresField, PhField
from custody.terms import Form, Method
from custody.web.access import needs
from custody.web.forms import BaseRows, EventForm, RowForm, rows_of
from custody.web.panels import Fact, Panel

METHODS = (Method.ICP, Method.TITRATION, Method.SALT_TITRATION, Method.GRAVIMETRY, Method.CRUCIBLE)
_SUBSTANCE = re.compile(r"[A-Z][A-Za-z0-9-]{0,7}")


class SolutionForm(EventForm):
    """What the laboratory found. A blank figure was not measured; ``<0.05`` was not found."""

    method = forms.ChoiceField(label="Method", choices=[(method.value, method.label) for method in METHODS])
    volume = LitresField(label="Volume, L")
    density = DensityField(label="Density, g/mL")
    ph = PhField(label="pH", required=False)
    note = forms.CharField(label="Remark", required=False, max_length=300)

    field_order = ("method", "at", "volume", "density", "ph", *tanks.SUBSTANCES, "note")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["at"].label = "Sampled"
        for substance in tanks.SUBSTANCES:
            self.fields[substance] = ConcentrationField(
                label=f"{substance}, mg/L", what=f"concentration of {substance}", required=False
            )
        self.order_fields(self.field_order)

    @property
    def figures(self) -> dict[str, Found]:
        """What was measured, by substance."""
        said = self.cleaned_data
        return {substance: said[substance] for substance in tanks.SUBSTANCES if said.get(substance) is not None}


class OtherLine(RowForm):
    """Another substance, such as CN or TSS."""

    substance = forms.CharField(label="Substance", max_length=8)
    found = ConcentrationField(label="Found, mg/L")

    def clean_substance(self):
        said = self.cleaned_data["substance"].strip()
        if not _SUBSTANCE.fullmatch(said) or said == "pH":
            raise forms.ValidationError("Write a symbol, like Hg or NH3-N. The pH has a field of its own.")
        if said in tanks.SUBSTANCES:
            raise forms.ValidationError(f"{said} has a field above.")
        return said


class Others(BaseRows):
    title, row_word, add_label, required, lot_field = "Other substances", "substance", "Add one", False, "substance"
    note = "What the permit names besides, like Hg, CN or TSS. Below the limit of detection: <0.05."


OtherRows = rows_of(OtherLine, Others, extra=2)


@require_GET
@needs(Verb.READ_BOOK)
def solutions(request: HttpRequest) -> HttpResponse:
    """Every solution that can be assayed: contents of vessels first, then solutions that are lots of their own."""
    forms_ = (Form.IN_PROCESS, Form.SOLUTION)
    lots = scope.lots(request.user).filter(form__in=forms_, gross_mg__gt=0).select_related("place", "custodian")
    table = StandingSolutions(lots.order_by("form", "place__code", "id"))
    tables.RequestConfig(request, paginate={"per_page": 40}).configure(table)
    return render(request, "staff/laboratory/solutions.html", {"table": table})


@needs(Verb.READ_BOOK)
def solution(request: HttpRequest, number: str) -> HttpResponse:
    """One solution with its assays; whoever determines records another."""
    found = scope.lots(request.user).filter(form__in=(Form.IN_PROCESS, Form.SOLUTION))
    lot = get_object_or_404(found.select_related("place", "custodian"), number=number)
    sent = request.POST if request.method == "POST" else None
    form, rows = SolutionForm(sent), OtherRows(sent, prefix="other")
    allowed = may(request.user.roles, Verb.DETERMINE)
    if sent is not None:
        if not allowed:
            raise PermissionDenied("You may not record an assay.")
        readable = [part.is_valid() for part in (form, rows)]
        made = _record(request, lot, form, rows) if all(readable) else None
        if made:
            messages.success(request, f"Assay {made.number} is recorded. A second person accepts it.")
            return redirect("solution", lot.number)
    context = {
        "lot": lot,
        "form": form,
        "row_sets": [rows],
        "recordable": allowed and lot.gross_mg > 0,
        "volume": tanks.volume_of(lot) if lot.gross_mg else None,
        "assays": SolutionAssays(tanks.assays(request.user).filter(lot=lot)),
    }
    return render(request, "staff/laboratory/solution.html", context)


def _record(request: HttpRequest, lot: Lot, form: SolutionForm, rows: Others) -> SolutionAssay | None:
    said = form.cleaned_data
    others = {row["substance"]: row["found"] for row in rows.rows}
    try:
        return assay_solution(
            lot=lot.number,
            volume_ml=said["volume"],
            density_mg_ml=said["density"],
            figures=form.figures | others,
            method=said["method"],
            ph_centi=said["ph"],
            note=said["note"],
            at=form.moment,
            by=request.user,
            request_key=said["request_key"],
        )
    except (Refusal, Refused) as refusal:
        form.refuse(refusal)
        return None


@needs(Verb.READ_BOOK)
def solution_assay(request: HttpRequest, number: str) -> HttpResponse:
    """One assay of a solution, what accepting it would change, and its acceptance by another person."""
    one = get_object_or_404(tanks.assays(request.user), number=number)
    form = AcceptForm(request.POST if request.method == "POST" else None)
    if request.method == "POST":
        if not may(request.user.roles, Verb.ACCEPT):
            raise PermissionDenied("You may not accept an assay.")
        done = sent_before(request) or _accept(request, one, form)
        if done:
            return done
    waits, own = standing_of(one) == "waiting", one.by_id == request.user.pk
    context = {
        "one": one,
        "form": form,
        "status": standing_of(one),
        "tone": TONES[standing_of(one)],
        "own": own and waits,
        "panels": _panels(one),
        "changes": AssayChanges(tanks.changes_by(one)) if waits else None,
        "acceptable": waits and not own and may(request.user.roles, Verb.ACCEPT),
    }
    return render(request, "staff/laboratory/solution_assay.html", context)


def _accept(request: HttpRequest, one: SolutionAssay, form: AcceptForm) -> HttpResponse | None:
    if not form.is_valid():
        return None
    try:
        posted = accept_solution(
            assay=one,
            at=timezone.now(),
            by=request.user,
            reason=form.cleaned_data["reason"],
            countersign=form.signature(request),
            request_key=form.cleaned_data["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return None
    messages.success(request, f"Assay {one.number} is accepted; solution {one.lot.number} has its gross and metals.")
    return redirect("operation", posted.number)


def _panels(one: SolutionAssay) -> list[Panel]:
    acceptance = getattr(one, "acceptance", None)
    said = [
        Fact(label="Solution", value=one.lot.number, url=reverse("solution", kwargs={"number": one.lot.number})),
        Fact(label="At", value=one.lot.place),
        Fact(label="Volume, L", value=litres(one.volume_ml)),
        Fact(label="Density, g/mL", value=litres(one.density_mg_ml)),
        Fact(label="pH", value="not measured" if one.ph_centi is None else hundredths(one.ph_centi)),
        Fact(label="Found, mg/L", value=figures_in_words(one)),
        Fact(label="Method", value=one.method),
        Fact(label="Recorded by", value=one.by),
        Fact(label="Sampled", at=one.at),
    ]
    if acceptance:
        operation = acceptance.operation.number
        said += [
            Fact(label="Accepted by", value=acceptance.by),
            Fact(label="Valued by", value=operation, url=reverse("operation", kwargs={"number": operation})),
        ]
    return [Panel(title="Assay", facts=said, note=one.note)]
