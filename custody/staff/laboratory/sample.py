"""Samples: drawing them from a lot, and consuming one in the assay."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from custody.actions._post import Posted
from custody.actions.samples import consume_sample, draw_samples
from custody.models import Lot
from custody.queries import scope
from custody.roles import Verb
from custody.staff.entry import Entry, StepForm, place_choices
from custody.staff.lines import FixedLotRows, LossRows
from custody.staff.sampling.forms import SampleRows, ScaleForm
from custody.terms import COLUMNS, Cause, SampleCut
from custody.web.access import needs
from custody.web.forms import GramsField
from custody.web.weighing import WeighingFields, weighing_kwargs

#: What drawing a sample may cost: drillings that are not kept, and what falls on the floor.
_CAUSES = (Cause.SAMPLE, Cause.SWEEPINGS, Cause.SPILL, Cause.DIFFERENCE)


class DrawForm(ScaleForm):
    """How the samples of one visit were cut, and who watched."""

    cut = forms.ChoiceField(label="Cut", choices=[("", "choose…"), *SampleCut.choices()])
    witness = forms.CharField(
        label="Witness", max_length=200, required=False, help_text="The customer's person who was there."
    )
    field_order = ("cut", "scale", "witness", "place", "at", "reason")


@needs(Verb.SAMPLE)
def draw(request: HttpRequest, number: str) -> HttpResponse:
    """One or several samples from a lot; what was consumed in drawing them is a loss. The rest keeps its number."""
    lot = _lot(request, number)
    sent = request.POST if request.method == "POST" else None
    weighs = weighing_kwargs(request.user)
    options = {"places": place_choices(), "scales": weighs["scales"]}
    rows = {
        "in": FixedLotRows(sent, prefix="in", initial=[{"lot": lot.number}]),
        "out": SampleRows(sent, prefix="out", form_kwargs=options),
        "loss": LossRows(sent, prefix="loss", form_kwargs={"causes": _CAUSES, "metals": False}),
    }
    rows["loss"].title, rows["loss"].note = "Consumed in drawing", "Drillings or filings that are not kept."
    entry = Entry(request, DrawForm(sent, **weighs), rows)
    done = entry.record(lambda: _draw(entry, lot), "The sample")
    if done:
        return done
    return render(request, "staff/laboratory/sample.html", entry.context(lot=lot, columns=COLUMNS[:1]))


def _draw(entry: Entry, lot: Lot) -> Posted:
    said = entry.form.cleaned_data
    cut, witness = SampleCut(said["cut"]), said["witness"].strip()
    return draw_samples(
        lot=lot.number,
        samples=[row.make(said["scale"], cut, witness) for row in entry.rows["out"].filled],
        losses=[row.lose() for row in entry.rows["loss"].filled],
        place=said["place"],
        **entry.head(),
    )


class ConsumeForm(WeighingFields, StepForm):
    """How much of a sample the assay took: said, or what is left of it weighed."""

    place = None
    consumed = GramsField(
        label="Consumed, g",
        what="consumed weight",
        required=False,
        help_text="Blank, and nothing left weighed: all of it.",
    )

    field_order = ("consumed", "scale", "gross", "tare", "at", "reason")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["gross"].label = "What is left, gross, g"
        self.fields["gross"].help_text = "Blank: not weighed."


@needs(Verb.SAMPLE)
def consume(request: HttpRequest, number: str) -> HttpResponse:
    """The assay takes a sample, or a part of it: the mass leaves the book as a sample consumed."""
    lot = _lot(request, number)
    sent = request.POST if request.method == "POST" else None
    entry = Entry(request, ConsumeForm(sent, **weighing_kwargs(request.user)), {})
    done = entry.record(lambda: _consume(entry, lot), "The consumption")
    if done:
        return done
    return render(request, "staff/laboratory/consume.html", {"form": entry.form, "lot": lot})


def _consume(entry: Entry, lot: Lot) -> Posted:
    return consume_sample(
        sample=lot.number,
        consumed_mg=entry.form.cleaned_data["consumed"],
        left=entry.form.weighed,
        **entry.head(),
    )


def _lot(request: HttpRequest, number: str) -> Lot:
    return get_object_or_404(scope.lots(request.user).select_related("place", "custodian"), number=number)
