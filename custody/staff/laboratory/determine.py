"""The form of a determination that no worksheet here leads to: fineness per metal, typed."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from custody.actions.assay import determine
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import Determination, Lot
from custody.queries import laboratory, scope
from custody.roles import Verb
from custody.terms import INDICATIONS, METALS, Method
from custody.web.access import needs
from custody.web.forms import EventForm, PerMilleField

#: Ways to a result that is typed. What only indicates determines nothing, and an exchange has its own page.
TYPED = [method for method in Method if method not in (*INDICATIONS, Method.EXCHANGE)]


class DeterminationForm(EventForm):
    """What the laboratory found, in parts per thousand by mass; a blank metal was not found."""

    method = forms.ChoiceField(label="Method", choices=[(method.value, method.label) for method in TYPED])
    sample = forms.ChoiceField(label="Sample", required=False)
    note = forms.CharField(label="Remark", widget=forms.Textarea, required=False, max_length=1000)

    field_order = ("method", "sample", "at", *METALS, "note")

    def __init__(self, *args, samples: list[Lot], **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["sample"].choices = [("", "the lot itself"), *((lot.number, lot.number) for lot in samples)]
        for metal in METALS:
            self.fields[metal] = PerMilleField(
                label=f"{metal}, ‰", what=f"fineness of {metal}", required=False, zero=True
            )
        self.order_fields(self.field_order)

    @property
    def ppm(self) -> dict[str, int]:
        """The fineness that was given, in parts per million."""
        return {metal: self.cleaned_data[metal] for metal in METALS if self.cleaned_data.get(metal)}


@needs(Verb.DETERMINE)
def determination(request: HttpRequest, number: str) -> HttpResponse:
    """Records what the laboratory found. It changes nothing in the book until a second person accepts it."""
    lot = get_object_or_404(scope.lots(request.user).select_related("place", "custodian"), number=number)
    samples = list(laboratory.samples_of(lot, request.user))
    form = DeterminationForm(request.POST if request.method == "POST" else None, samples=samples)
    if request.method == "POST" and form.is_valid():
        try:
            made = _record(request, form, lot, samples)
        except (Refusal, Refused) as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"Determination {made.number} is recorded. A second person accepts it.")
            return redirect("laboratory")
    return render(request, "staff/laboratory/determine.html", {"lot": lot, "form": form})


def _record(request: HttpRequest, form: DeterminationForm, lot: Lot, samples: list[Lot]) -> Determination:
    return determine(
        lot=lot,
        ppm=form.ppm,
        method=form.cleaned_data["method"],
        sample=next((each for each in samples if each.number == form.cleaned_data["sample"]), None),
        note=form.cleaned_data["note"].strip(),
        at=form.moment,
        by=request.user,
        request_key=form.cleaned_data["request_key"],
    )
