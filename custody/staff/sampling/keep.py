"""What becomes of a sample after the assay: sealed and kept, or given back to its lot."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from custody.actions.samples import return_remainder, seal_sample
from custody.errors import Refusal
from custody.models import Lot
from custody.queries import sampling, scope
from custody.roles import Verb
from custody.staff.entry import Entry, StepForm
from custody.terms import Form, SamplePurpose
from custody.web.access import needs
from custody.web.forms import EventForm


class SealForm(EventForm):
    """A seal, and what the sample is kept for under it."""

    seal = forms.CharField(label="Seal", max_length=60)
    purpose = forms.ChoiceField(label="Kept for", choices=SamplePurpose.choices())
    note = forms.CharField(label="Note", max_length=300, required=False, help_text="Like: sixty days, shelf 4.")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["seal"].widget.attrs |= {"data-scan": True, "autocomplete": "off"}
        self.order_fields(("seal", "purpose", "note", "at"))


@needs(Verb.SAMPLE)
def seal(request: HttpRequest, number: str) -> HttpResponse:
    """A new seal on a sample; the earlier ones stay in its history."""
    lot = _sample(request, number)
    state = sampling.sample_state(lot, request.user)
    form = SealForm(request.POST or None, initial={"purpose": state.purpose})
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            seal_sample(
                sample=lot.number,
                seal=said["seal"],
                purpose=SamplePurpose(said["purpose"]),
                note=said["note"],
                at=form.moment,
                by=request.user,
                request_key=said["request_key"],
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"Sample {lot.number} lies under seal {said['seal'].strip()}.")
            return redirect("sampling")
    return render(request, "staff/sampling/seal.html", {"form": form, "lot": lot, "state": state})


class ReturnForm(StepForm):
    """When and why."""

    place = None
    field_order = ("at", "reason")


@needs(Verb.SAMPLE)
def give_back(request: HttpRequest, number: str) -> HttpResponse:
    """What is left of a sample goes back to its lot; the lot goes on under another number, with a label of its own."""
    lot = _sample(request, number)
    entry = Entry(request, ReturnForm(request.POST if request.method == "POST" else None), {})
    done = entry.record(lambda: return_remainder(sample=lot.number, **entry.head()), "The return")
    if done:
        return done
    state = sampling.sample_state(lot, request.user)
    return render(request, "staff/sampling/return.html", {"form": entry.form, "lot": lot, "state": state})


def _sample(request: HttpRequest, number: str) -> Lot:
    lots = scope.lots(request.user).filter(form=Form.SAMPLE)
    return get_object_or_404(lots.select_related("place", "custodian", "sample", "created_by"), number=number)
