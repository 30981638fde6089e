"""The register of proof metals: pure metal by its certificate, that runs beside the samples."""

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from custody.actions.worksheets import enter_proof_metal, set_proof_metal_in_use
from custody.errors import Refusal
from custody.models import ProofMetal
from custody.queries import worksheets
from custody.roles import Verb, may
from custody.web.access import needs
from custody.web.forms import BaseForm, PerMilleField
from custody.web.tables import BaseTable, FinenessColumn


class ProofMetalForm(BaseForm):
    """A proof metal as its certificate says."""

    code = forms.CharField(label="Code", max_length=30)
    metal = forms.ChoiceField(label="Metal", choices=[("Au", "Au"), ("Ag", "Ag")])
    purity = PerMilleField(label="Purity, ‰", what="purity")
    uncertainty = PerMilleField(
        label="Its uncertainty, ‰", what="uncertainty", zero=True, required=False, help_text="Expanded, k = 2."
    )
    certificate = forms.CharField(label="Certificate", max_length=120, required=False)


class ProofMetals(BaseTable):
    caption = "Proof metals"
    empty_text = "No proof metal is entered yet."
    code = tables.Column("Code")
    metal = tables.Column("Metal")
    purity = FinenessColumn("Purity", accessor="purity_ppm")
    uncertainty = FinenessColumn("Uncertainty (k = 2)", accessor="uncertainty_ppm")
    certificate = tables.Column("Certificate", default="—")
    standing = tables.TemplateColumn(verbose_name="In use", template_name="staff/laboratory/proof_metal_use.html")

    class Meta:
        orderable = False


@needs(Verb.DETERMINE, Verb.ACCEPT, Verb.READ_BOOK)
def register(request: HttpRequest) -> HttpResponse:
    """The register; an assayer enters another."""
    may_enter = may(request.user.roles, Verb.DETERMINE)
    form = ProofMetalForm(request.POST if request.method == "POST" else None)
    if request.method == "POST":
        if not may_enter:
            raise PermissionDenied("You may not enter proof metals.")
        if form.is_valid() and _enter(request, form):
            return redirect("proof-metals")
    table = ProofMetals(worksheets.proof_metals())
    tables.RequestConfig(request, paginate={"per_page": 50}).configure(table)
    return render(request, "staff/laboratory/proof_metals.html", {"table": table, "form": form, "may_enter": may_enter})


def _enter(request: HttpRequest, form: ProofMetalForm) -> bool:
    said = form.cleaned_data
    try:
        made = enter_proof_metal(
            code=said["code"].strip(),
            metal=said["metal"],
            purity_ppm=said["purity"],
            uncertainty_ppm=said["uncertainty"] or 0,
            certificate=said["certificate"],
            by=request.user,
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return False
    messages.success(request, f"Proof metal {made.code} is entered.")
    return True


@require_POST
@needs(Verb.DETERMINE)
def set_in_use(request: HttpRequest, pk: int) -> HttpResponse:
    """Takes a proof metal out of use, or back."""
    metal = get_object_or_404(ProofMetal, pk=pk)
    active = request.POST.get("active") == "1"
    set_proof_metal_in_use(proof_metal=metal, active=active, by=request.user)
    messages.success(request, f"{metal.code} is {'in' if active else 'out of'} use.")
    return redirect("proof-metals")
