"""The acceptance of a determination by a second person: it gives the lot its metals."""

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from custody.actions.assay import accept
from custody.calc.fineness import format_per_mille
from custody.errors import Refusal
from custody.models import Determination
from custody.queries import laboratory
from custody.roles import Verb, may
from custody.staff.entry import sent_before
from custody.terms import METALS
from custody.web.access import needs
from custody.web.countersign import CountersignForm
from custody.web.panels import Fact, Panel


class AcceptForm(CountersignForm):
    """The reason, and the second signature once the difference is past tolerance. Acceptance is always now."""

    at = None
    reason = forms.CharField(label="Reason", required=False, max_length=500)


@needs(Verb.ACCEPT, Verb.DETERMINE, Verb.READ_BOOK)
def acceptance(request: HttpRequest, number: str) -> HttpResponse:
    """What accepting would change in the book; accepting it, for whoever may and did not determine it."""
    one = get_object_or_404(laboratory.determinations(request.user), number=number)
    form = AcceptForm(request.POST if request.method == "POST" else None)
    if request.method == "POST":
        if not may(request.user.roles, Verb.ACCEPT):
            raise PermissionDenied("You may not accept a determination.")
        done = sent_before(request) or _accept(request, one, form)
        if done:
            return done
    earlier = getattr(one, "acceptance", None)
    own = one.by_id == request.user.pk
    context = {
        "one": one,
        "form": form,
        "changes": laboratory.changes(one) if not earlier else [],
        "acceptable": not earlier and not own and may(request.user.roles, Verb.ACCEPT),
        "own": own and not earlier,
        "panels": _panels(one, earlier),
        "samples": laboratory.samples_of(one.lot, request.user).filter(gross_mg__gt=0, valued=False),
    }
    return render(request, "staff/laboratory/accept.html", context)


def _accept(request: HttpRequest, one: Determination, form: AcceptForm) -> HttpResponse | None:
    if not form.is_valid():
        return None
    try:
        posted = accept(
            determination=one,
            at=timezone.now(),
            by=request.user,
            reason=form.cleaned_data["reason"],
            countersign=form.signature(request),
            request_key=form.cleaned_data["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        one.refresh_from_db()  # the refused acceptance was taken back: the row in hand must not remember it
        return None
    messages.success(request, f"Determination {one.number} is accepted; lot {one.lot.number} has its metals.")
    return redirect("operation", posted.number)


def _panels(one: Determination, earlier) -> list[Panel]:
    said = [
        Fact(label="Lot", value=one.lot.number, url=reverse("lot", kwargs={"number": one.lot.number})),
        *(Fact(label=f"{metal}, ‰", value=format_per_mille(ppm)) for metal, ppm in zip(METALS, one.ppm, strict=True)),
        Fact(label="Method", value=one.method),
        Fact(label="Sample", value=one.sample.number if one.sample else "the lot itself"),
        Fact(label="Determined by", value=one.by),
        Fact(label="Determined", at=one.at),
    ]
    if earlier:
        said += [Fact(label="Accepted by", value=earlier.by), Fact(label="Accepted", at=earlier.at)]
    return [Panel(title="Determination", facts=said, note=one.note)]
