"""The registers: scales and reference weights, entered and taken out of use by who keeps them."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from custody.actions import scales as actions
from custody.errors import Refusal
from custody.models import ReferenceWeight, Scale
from custody.queries import scales as queries
from custody.roles import Verb, may
from custody.staff.scales.forms import ReferenceWeightForm, ScaleForm
from custody.staff.scales.tables import WEIGHT_TONES, ScaleTable, WeightTable, milligrams, weight_state
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

READERS = (Verb.WEIGH, Verb.KEEP_SCALES, Verb.READ_BOOK)


@require_safe
@needs(*READERS)
def scales(request: HttpRequest) -> HttpResponse:
    """Every scale with its plate and where it stands today."""
    keeps = may(request.user.roles, Verb.KEEP_SCALES)
    actions = [Action(label="Reference weights", url=reverse("reference-weights"))]
    if keeps:
        actions.insert(0, Action(label="Enter a scale", url=reverse("scale-add"), tone="main"))
    table = ScaleTable(queries.register(), checks=may(request.user.roles, Verb.WEIGH))
    return render(request, "staff/scales/scales.html", {"table": table, "actions": actions})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.KEEP_SCALES)
def add_scale(request: HttpRequest) -> HttpResponse:
    """Enters a scale by its plate."""
    form = ScaleForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            scale = actions.enter_scale(
                code=told["code"], name=told["name"], place=told["place"], plate=form.plate, by=request.user
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"Scale {scale} is entered. It may weigh once it passed a check.")
            return redirect("scale", scale.code)
    return render(request, "staff/scales/add.html", {"form": form, "what": "scale", "cancel_url": reverse("scales")})


@require_POST
@needs(Verb.KEEP_SCALES)
def use_scale(request: HttpRequest, code: str) -> HttpResponse:
    """Takes a scale out of use, or back."""
    scale = get_object_or_404(Scale, code=code)
    active = request.POST.get("active") == "yes"
    actions.set_scale_in_use(scale=scale, active=active, by=request.user)
    messages.success(request, f"Scale {scale} is {'in use again' if active else 'out of use'}.")
    return redirect("scale", scale.code)


@require_safe
@needs(*READERS)
def weights(request: HttpRequest) -> HttpResponse:
    """Every reference weight."""
    found = [Action(label="Scales", url=reverse("scales"))]
    if may(request.user.roles, Verb.KEEP_SCALES):
        found.insert(0, Action(label="Enter a weight", url=reverse("reference-weight-add"), tone="main"))
    table = WeightTable(ReferenceWeight.objects.order_by("nominal_mg", "code"))
    return render(request, "staff/scales/weights.html", {"table": table, "actions": found})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.KEEP_SCALES)
def add_weight(request: HttpRequest) -> HttpResponse:
    """Enters a reference weight."""
    form = ReferenceWeightForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            weight = actions.enter_reference_weight(
                code=told["code"],
                weight=form.weight,
                certificate=told["certificate"],
                valid_until=told["valid_until"],
                by=request.user,
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"Reference weight {weight} is entered.")
            return redirect("reference-weights")
    context = {"form": form, "what": "reference weight", "cancel_url": reverse("reference-weights")}
    return render(request, "staff/scales/add.html", context)


@require_POST
@needs(Verb.KEEP_SCALES)
def use_weight(request: HttpRequest, code: str) -> HttpResponse:
    """Takes a reference weight out of use, or back."""
    one = get_object_or_404(ReferenceWeight, code=code)
    active = request.POST.get("active") == "yes"
    actions.set_reference_weight_in_use(weight=one, active=active, by=request.user)
    messages.success(request, f"Reference weight {one} is {'in use again' if active else 'out of use'}.")
    return redirect("reference-weight", one.code)


@require_safe
@needs(*READERS)
def weight(request: HttpRequest, code: str) -> HttpResponse:
    """One reference weight."""
    one = get_object_or_404(ReferenceWeight, code=code)
    keeps = may(request.user.roles, Verb.KEEP_SCALES)
    found = [in_use_action(reverse("reference-weight-use", args=[one.code]), one.active)] if keeps else []
    return render(request, "staff/scales/weight.html", {"weight": one, "panel": _panel(one), "actions": found})


def in_use_action(url: str, active: bool) -> Action:
    """The button that takes a scale or a weight out of use, or back."""
    if active:
        return Action(label="Take out of use", url=url, method="post", tone="stop", values={"active": "no"})
    return Action(label="Put back into use", url=url, method="post", values={"active": "yes"})


def _panel(one: ReferenceWeight) -> Panel:
    state, known = weight_state(one), queries.weight_of(one)
    facts = [
        Fact(label="Nominal", mg=one.nominal_mg),
        Fact(label="Class", value=one.weight_class),
        Fact(label="May be off by, mg", value=milligrams(known.error_ug)),
        Fact(label="Standing", value=state, tone=WEIGHT_TONES[state]),
    ]
    if one.uncertainty_ug is not None:
        facts += [
            Fact(label="Certificate", value=one.certificate),
            Fact(label="Deviation, mg", value=milligrams(one.deviation_ug)),
            Fact(label="Valid until", value=one.valid_until.isoformat() if one.valid_until else "not said"),
        ]
    note = "" if one.uncertainty_ug is not None else "Without a certificate it may be off by its class (OIML R 111)."
    return Panel(title="The weight", facts=facts, note=note)
