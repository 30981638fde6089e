"""Samples: drawing them from a lot, and consuming one in the assay."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from custody.actions._post import Posted
from custody.actions.work import Lose, Take, record_step
from custody.models import Lot
from custody.queries import scope
from custody.roles import Verb
from custody.staff.entry import Entry, StepForm, place_choices
from custody.staff.lines import FixedLotRows, LossRows, taken_mg
from custody.staff.split import PartRows, record_split
from custody.terms import COLUMNS, METALS, Cause, Form, Kind
from custody.web.access import needs
from custody.web.forms import GramsField

#: What drawing a sample may cost: drillings that are not kept, and what falls on the floor.
_CAUSES = (Cause.SAMPLE, Cause.SWEEPINGS, Cause.SPILL, Cause.DIFFERENCE)


@needs(Verb.SAMPLE)
def draw(request: HttpRequest, number: str) -> HttpResponse:
    """One or several samples from a lot; what was consumed in drawing them is a loss. The rest keeps its number."""
    lot = _lot(request, number)
    sent = request.POST if request.method == "POST" else None
    rows = {
        "in": FixedLotRows(sent, prefix="in", initial=[{"lot": lot.number}]),
        "out": PartRows(sent, prefix="out", form_kwargs={"places": place_choices()}),
        "loss": LossRows(sent, prefix="loss", form_kwargs={"causes": _CAUSES, "metals": False}),
    }
    rows["out"].title, rows["out"].row_word, rows["out"].add_label = "Samples", "sample", "Add a sample"
    rows["out"].note = "Each sample becomes a lot of its own. The rest stays under the lot's number."
    rows["loss"].title, rows["loss"].note = "Consumed in drawing", "Drillings or filings that are not kept."
    entry = Entry(request, StepForm(sent), rows)
    done = entry.record(lambda: record_split(entry, Kind.SAMPLE, lot, Form.SAMPLE), "The sample")
    if done:
        return done
    return render(request, "staff/laboratory/sample.html", entry.context(lot=lot, columns=COLUMNS[:1]))


class ConsumeForm(StepForm):
    """How much of a sample the assay took."""

    place = None
    gross = GramsField(label="Consumed, g", what="consumed weight", required=False, help_text="Blank: all of it.")

    field_order = ("gross", "at", "reason")


@needs(Verb.SAMPLE)
def consume(request: HttpRequest, number: str) -> HttpResponse:
    """The assay takes a sample, or a part of it: the mass leaves the book as a sample consumed."""
    lot = _lot(request, number)
    entry = Entry(request, ConsumeForm(request.POST if request.method == "POST" else None), {})
    done = entry.record(lambda: _consume(entry, lot), "The consumption")
    if done:
        return done
    return render(request, "staff/laboratory/consume.html", {"form": entry.form, "lot": lot})


def _consume(entry: Entry, lot: Lot) -> Posted:
    gross = entry.form.cleaned_data["gross"]
    mass, *metals = taken_mg(lot, gross)
    return record_step(
        kind=Kind.SAMPLE,
        inputs=[Take(lot.number, gross)],
        outputs=[],
        losses=(Lose(Cause.SAMPLE, mass, dict(zip(METALS, metals, strict=True))),),
        **entry.head(),
    )


def _lot(request: HttpRequest, number: str) -> Lot:
    return get_object_or_404(scope.lots(request.user).select_related("place", "custodian"), number=number)
