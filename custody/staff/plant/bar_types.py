"""The types of bars: what they weigh and hold, how they are made; entered and taken out of use by a manager."""

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from custody.actions.bar_types import enter_bar_type, lay_usual_bar_types, retire_bar_type
from custody.calc.bar_types import USUAL, Making, making_of
from custody.errors import Refusal
from custody.models import BarType
from custody.roles import Verb, may
from custody.terms import PRECIOUS
from custody.web.access import needs
from custody.web.forms import BaseForm, GramsField, PerMilleField
from custody.web.panels import Action
from custody.web.tables import BaseTable, FinenessColumn, MassColumn, StatusColumn


class BarTypeForm(BaseForm):
    """A type by its nominal weight and how much it may be over, or by the least and the most that it may weigh."""

    code = forms.CharField(label="Code", max_length=20, help_text="Like AU-10.")
    name = forms.CharField(label="Name", max_length=120, help_text="Like: 10 g gold.")
    metal = forms.ChoiceField(label="Metal", choices=[(metal, metal) for metal in PRECIOUS])
    fineness = PerMilleField(label="Fineness at least, ‰")
    nominal = GramsField(label="Nominal, g", what="nominal weight", required=False, help_text="It never weighs less.")
    over = GramsField(label="At most over it, g", what="tolerance", zero=True, required=False)
    least = GramsField(label="Or from, g", what="least weight", required=False, help_text="For bars without a nominal.")
    most = GramsField(label="to, g", what="most weight", required=False)
    making = forms.ChoiceField(
        label="Made", choices=[("", "up to 100 g struck, else cast"), *Making.choices()], required=False
    )
    marks = forms.CharField(
        label="Marks", max_length=200, required=False, help_text="Words stamped on it, with commas between."
    )

    def clean(self):
        said = super().clean()
        nominal, over, least, most = (said.get(name) for name in ("nominal", "over", "least", "most"))
        if self.errors:
            return said
        if nominal and (least or most):
            self.add_error("least", "Give a nominal weight, or from and to, not both.")
        elif nominal and over is None:
            self.add_error("over", "Say how much more than its nominal weight it may weigh.")
        elif not nominal and not (least and most):
            self.add_error("nominal", "Give its nominal weight, or from how much to how much it weighs.")
        elif not nominal and most < least:
            self.add_error("most", "The most is not less than the least.")
        return said

    @property
    def entered(self) -> dict:
        """For ``enter_bar_type``."""
        said = self.cleaned_data
        nominal = said["nominal"]
        least = nominal or said["least"]
        return {
            "code": said["code"],
            "name": said["name"],
            "metal": said["metal"],
            "nominal_mg": nominal,
            "least_mg": least,
            "most_mg": nominal + said["over"] if nominal else said["most"],
            "least_ppm": said["fineness"],
            "making": Making(said["making"]) if said["making"] else making_of(least),
            "marks": said["marks"].split(","),
        }


class TypeTable(BaseTable):
    caption = "Bar types"
    empty_text = "No type is entered yet."
    code = tables.Column("Code")
    name = tables.Column("Name")
    metal = tables.Column("Metal")
    least = MassColumn("From", accessor="least_mg")
    most = MassColumn("To", accessor="most_mg")
    fineness = FinenessColumn("At least", accessor="least_ppm")
    making = tables.Column("Made")
    marks = tables.Column("Marks")
    standing = StatusColumn("Standing", accessor="active", tones={"in use": "good", "out of use": "plain"})
    use = tables.Column("Use", empty_values=())

    class Meta:
        orderable = False

    def __init__(self, *args, keeps: bool, **kwargs):
        super().__init__(*args, exclude=() if keeps else ("use",), **kwargs)

    def render_marks(self, value):
        return ", ".join(value) or "—"

    def render_standing(self, value):
        word = "in use" if value else "out of use"
        return render_to_string("ui/status.html", {"word": word, "tone": "good" if value else "plain"})

    def render_use(self, record):
        action = Action(
            label="Take out of use" if record.active else "Put into use",
            url=reverse("bar-type-use", args=[record.pk]),
            method="post",
            values={"active": "no" if record.active else "yes"},
        )
        return render_to_string("ui/actions.html", {"actions": [action]}, request=self.request)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.READ_BOOK)
def bar_types(request: HttpRequest) -> HttpResponse:
    """Every type; a manager enters one."""
    keeps = may(request.user.roles, Verb.KEEP_BARS)
    form = BarTypeForm(request.POST or None)
    if request.method == "POST":
        if not keeps:
            raise PermissionDenied("You may not enter bar types.")
        if form.is_valid() and _entered(request, form):
            return redirect("bar-types")
    table = TypeTable(BarType.objects.all(), keeps=keeps)
    tables.RequestConfig(request, paginate=False).configure(table)
    actions = [Action(label="Serials", url=reverse("serials"))]
    codes = {one.code for one in USUAL}
    if keeps and BarType.objects.filter(code__in=codes).count() < len(codes):
        actions.append(Action(label="Lay out usual types", url=reverse("bar-types-usual"), method="post"))
    context = {"form": form if keeps else None, "table": table, "actions": actions}
    return render(request, "staff/plant/bar_types.html", context)


def _entered(request: HttpRequest, form: BarTypeForm) -> bool:
    try:
        made = enter_bar_type(by=request.user, **form.entered)
    except Refusal as refusal:
        form.refuse(refusal)
        return False
    messages.success(request, f"Bar type {made.code}, {made.name}, is entered.")
    return True


@require_POST
@needs(Verb.KEEP_BARS)
def usual(request: HttpRequest) -> HttpResponse:
    """Enters the usual types that are not there."""
    made = lay_usual_bar_types(by=request.user)
    names = ", ".join(one.name for one in made)
    messages.success(request, f"Entered: {names}." if made else "All usual types are there.")
    return redirect("bar-types")


@require_POST
@needs(Verb.KEEP_BARS)
def use(request: HttpRequest, pk: int) -> HttpResponse:
    """Takes a type out of use, or puts it back."""
    one = get_object_or_404(BarType, pk=pk)
    active = request.POST.get("active") == "yes"
    retire_bar_type(bar_type=one, active=active, by=request.user)
    messages.success(request, f"Bar type {one.code} is {'in use again' if active else 'out of use'}.")
    return redirect("bar-types")
