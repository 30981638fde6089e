"""Clean-out of a furnace, a filter or a floor: what was declared lost is gathered, weighed, and becomes a lot again.

No lot goes in. What was gathered has no metal in the book until its assay, which finds what was lost there (only what
exceeds that is a difference).
"""

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from custody.actions._post import Posted
from custody.actions.work import Lose, record_step
from custody.calc.recipes import recipe_for
from custody.calc.safety import cautions_for
from custody.errors import Refusal
from custody.queries import plant
from custody.queries.recovery import LostSince, lost_since
from custody.staff.entry import Entry, StepForm, allow, place_choices
from custody.staff.plant.step import WORKERS
from custody.staff.plant.step_rows import StepLotsOut, StepOut
from custody.terms import Cause, Form, Kind
from custody.web.access import needs
from custody.web.forms import rows_of
from custody.web.tables import BaseTable, MassColumn, MomentColumn
from custody.web.weighing import weighing_kwargs

#: What can be gathered, by the cause under which it was declared lost.
CAUSES = (
    Cause.LINING,
    Cause.SWEEPINGS,
    Cause.SLAG,
    Cause.FILTER,
    Cause.FUME,
    Cause.SPILL,
    Cause.EFFLUENT,
    Cause.THEFT,
    Cause.OTHER,
)
FORMS = (Form.LINING, Form.SWEEPINGS, Form.SLAG, Form.FILTER, Form.CRUCIBLE, Form.SOLUTION, Form.OTHER)


class CleanOutForm(StepForm):
    """Where it was gathered, and from which losses."""

    cause = forms.ChoiceField(
        label="Declared lost as", choices=[("", "choose…"), *((cause.value, cause.label) for cause in CAUSES)]
    )
    words = forms.CharField(
        label="In words", required=False, max_length=300, help_text="What was cleaned, like: hearth of furnace 1."
    )
    field_order = ("cause", "place", "words", "at", "reason")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        place = self.fields["place"]
        place.required, place.empty_label = True, "choose…"
        place.error_messages["required"] = "Place is missing. Choose where it was gathered."

    def clean(self):
        said = super().clean()
        if said.get("cause") == Cause.OTHER and not said.get("words", "").strip():
            self.add_error("words", "Another cause is said in words.")
        return said


class Gathered(StepOut):
    """What was gathered, weighed; its metals are not known."""

    fold_label = "Place"

    def __init__(self, *args, **kwargs):
        super().__init__(*args, metals=False, recipe=recipe_for(Kind.CLEAN_OUT), **kwargs)
        self.fields["form"].choices = [(form.value, form.label) for form in FORMS]


class AllGathered(StepLotsOut):
    title, row_word, add_label = "What was gathered", "lot", "Add a lot"
    note = "Weigh each kind apart: it becomes a lot of its own, without metals until its assay."


GatheredRows = rows_of(Gathered, AllGathered, extra=2)


class LostTable(BaseTable):
    caption = "Declared lost since metal was last recovered"
    cause = tables.Column("Cause", accessor="cause__label")
    gold = MassColumn("Au", accessor="metals_mg__0")
    silver = MassColumn("Ag", accessor="metals_mg__1")
    platinum = MassColumn("Pt", accessor="metals_mg__2")
    palladium = MassColumn("Pd", accessor="metals_mg__3")
    copper = MassColumn("Cu", accessor="metals_mg__4")
    since = MomentColumn("Last recovery", accessor="recovered_at", default="none")

    class Meta:
        orderable = False


@needs(*WORKERS)
def clean_out(request: HttpRequest) -> HttpResponse:
    """Records what was gathered, beside what was declared lost under each cause."""
    allow(request.user, Kind.CLEAN_OUT)
    sent = request.POST if request.method == "POST" else None
    made = weighing_kwargs(request.user) | {"places": place_choices()}
    rows = {"out": GatheredRows(sent, prefix="out", form_kwargs=made)}
    form = CleanOutForm(sent, initial={"place": _asked(request)})
    entry = Entry(request, form, rows)
    recipe = recipe_for(Kind.CLEAN_OUT)
    done = entry.record(lambda: _record(entry), recipe.title)
    if done:
        return done
    context = entry.context(recipe=recipe, cautions=cautions_for(recipe.kind), lost=LostTable(_lost()))
    return render(request, "staff/plant/clean_out.html", context)


def _asked(request: HttpRequest):
    """The place that the address names, if it is one."""
    return plant.places().filter(code=request.GET.get("place", "").replace("\0", "")).first()


def _lost() -> list[LostSince]:
    """Causes of which something was lost, in front those that a clean-out usually finds."""
    return [one for one in lost_since(CAUSES) if any(one.metals_mg) or one.recovered_at]


def _record(entry: Entry) -> Posted:
    said = entry.form.cleaned_data
    made = entry.rows["out"].filled
    if not said["reason"] and any(not row.told for row in made):
        raise Refusal("Weigh what was gathered and choose the scale, or write here how its weight is known.").at(
            "reason"
        )
    makes = [row.make() for row in made]
    return record_step(
        kind=Kind.CLEAN_OUT,
        inputs=[],
        outputs=makes,
        losses=(Lose(Cause(said["cause"]), -sum(make.gross_mg for make in makes), {}, said["words"].strip()),),
        place=said["place"],
        **entry.head(),
    )
