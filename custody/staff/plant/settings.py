"""The plant's settings: limits of routes and batches, excess factors, acids; a change is a new row."""

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from custody.actions.routes import set_plant
from custody.calc.charge import SilverWay
from custody.calc.refusals import Refused
from custody.documents.fill_batch import acids_of
from custody.errors import Refusal
from custody.models import PlantSettings
from custody.queries import planner
from custody.roles import Verb, may
from custody.web.access import needs
from custody.web.forms import BaseForm, CountField, DayField, GramsField, PercentField
from custody.web.tables import BaseTable, MomentColumn

#: What each change says anew.
NOT_KEPT = ("request_key", "valid_from", "note")


class ExcessField(CountField):
    """How much more than the equation asks, in whole per cent, cleaned to parts per million."""

    what = "excess"
    most = 900

    def parse(self, text: str) -> int:
        return super().parse(text) * 10_000

    def show(self, ppm: int) -> str:
        return str(ppm // 10_000)


def _excess(what: str) -> ExcessField:
    return ExcessField(label=f"{what} over the equation, %", zero=True)


def _share(label: str, **more) -> PercentField:
    return PercentField(label=f"{label}, %", zero=True, **more)


class SettingsForm(BaseForm):
    """The columns of PlantSettings, as a manager reads them."""

    valid_from = DayField(label="From")
    least_gold_ppm = _share("Gold in a feed, at least")
    direct_silver_ppm = _share("Silver for aqua regia directly, under")
    crust_silver_ppm = _share("Silver with measures against a crust, up to")
    silver_feed_ppm = _share("A feed is silver from")
    gold_share_ppm = _share("Gold after inquartation")
    precipitated_ppm = _share("Gold from precipitation")
    batch_gross_mg = GramsField(label="A batch weighs at most, g", what="gross weight", required=False)
    batch_gold_ppm = _share("Gold in a batch, at least", required=False)
    batch_silver_ppm = _share("Silver in a batch, at most", required=False)
    nitric_strength_ppm = _share("Nitric acid, strength")
    nitric_density = GramsField(label="Nitric acid, g/mL", what="density")
    hydrochloric_strength_ppm = _share("Hydrochloric acid, strength")
    hydrochloric_density = GramsField(label="Hydrochloric acid, g/mL", what="density")
    nitric_excess_ppm = _excess("Nitric acid")
    hydrochloric_excess_ppm = _excess("Hydrochloric acid")
    metabisulfite_excess_ppm = _excess("Sodium metabisulfite")
    salt_excess_ppm = _excess("Salt")
    caustic_excess_ppm = _excess("Caustic soda")
    glucose_excess_ppm = _excess("Glucose")
    copper_excess_ppm = _excess("Copper")
    iron_excess_ppm = _excess("Iron")
    ammonium_excess_ppm = _excess("Ammonium chloride")
    glyoxime_excess_ppm = _excess("Dimethylglyoxime")
    silver_way = forms.ChoiceField(label="Silver from nitrate", choices=SilverWay.choices())
    note = forms.CharField(label="Why they change", max_length=300, required=False)


class SettingsTable(BaseTable):
    caption = "Settings, the latest first"
    empty_text = "Nobody set any: the defaults of common practice hold."
    valid_from = tables.Column("From")
    by = tables.Column("Set by", accessor="set_by")
    at = MomentColumn("When", accessor="set_at")
    acids = tables.Column("Acids", empty_values=())
    note = tables.Column("Why", default="—")

    class Meta:
        orderable = False

    def render_acids(self, record):
        return acids_of(record)

    def render_valid_from(self, value):
        return f"{value:%Y-%m-%d}"


@needs(Verb.READ_BOOK)
def plant_settings(request: HttpRequest) -> HttpResponse:
    """What holds today; a manager sets what holds from a date on."""
    may_set = may(request.user.roles, Verb.SET_PLANT)
    today = timezone.localdate()
    sent = request.POST if request.method == "POST" else None
    form = SettingsForm(sent, initial=_values(planner.settings_on(today)) | {"valid_from": today})
    if sent is not None:
        if not may_set:
            raise PermissionDenied("You may not change the plant's settings.")
        if form.is_valid() and _set(request, form):
            return redirect("plant-settings")
    if not may_set:
        for field in form.fields.values():
            field.disabled = True
    table = SettingsTable(planner.settings_history())
    tables.RequestConfig(request, paginate={"per_page": 20}).configure(table)
    return render(request, "staff/plant/settings.html", {"form": form, "table": table, "may_set": may_set})


def _values(settings: PlantSettings) -> dict:
    return {name: getattr(settings, name) for name in SettingsForm.base_fields if name not in NOT_KEPT}


def _set(request: HttpRequest, form: SettingsForm) -> bool:
    said = dict(form.cleaned_data)
    try:
        made = set_plant(at=timezone.now(), by=request.user, **said)
    except (Refusal, Refused) as refusal:
        form.refuse(refusal)
        return False
    messages.success(request, f"These settings hold from {made.valid_from:%Y-%m-%d}.")
    return True
