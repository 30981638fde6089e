"""The acceptance of a determination by a second person: it gives the lot its metals."""

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from custody.actions.assay import accept, assay_again
from custody.calc.fineness import format_per_mille
from custody.calc.refusals import Refused
from custody.calc.worksheet_results import corrections, expanded_words
from custody.errors import Refusal
from custody.models import Determination
from custody.queries import laboratory, worksheets
from custody.queries.exchanges import exchange_of
from custody.roles import Verb, may
from custody.staff.entry import sent_before
from custody.terms import METALS
from custody.web.access import needs
from custody.web.countersign import CountersignForm
from custody.web.forms import BaseForm
from custody.web.panels import Action, Fact, Panel


class AcceptForm(CountersignForm):
    """The reason, and the second signature once the difference is past tolerance. Acceptance is always now."""

    at = None
    reason = forms.CharField(label="Reason", required=False, max_length=500)


class AgainForm(BaseForm):
    """Why a determination is not accepted."""

    reason = forms.CharField(label="Why it is not accepted", max_length=500)


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
    return render(request, "staff/laboratory/accept.html", _context(request, one, form, AgainForm(prefix="again")))


@require_POST
@needs(Verb.ACCEPT)
def turn_down(request: HttpRequest, number: str) -> HttpResponse:
    """The lot of a determination that is not accepted is assayed again."""
    one = get_object_or_404(laboratory.determinations(request.user), number=number)
    form = AgainForm(request.POST, prefix="again")
    if form.is_valid():
        try:
            reason = form.cleaned_data["reason"]
            assay_again(determination=one, reason=reason, at=timezone.now(), by=request.user)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(
                request, f"Determination {one.number} is not accepted; lot {one.lot.number} is assayed again."
            )
            return redirect("laboratory")
    return render(request, "staff/laboratory/accept.html", _context(request, one, AcceptForm(), form))


def _context(request: HttpRequest, one: Determination, form: AcceptForm, again: AgainForm) -> dict:
    earlier, repeat = getattr(one, "acceptance", None), getattr(one, "repeat", None)
    own = one.by_id == request.user.pk
    worked = not own and worksheets.worked_on(one, request.user)
    waits = not earlier and not repeat
    exchanged = waits and laboratory.exchanged_first(one)
    return {
        "one": one,
        "form": form,
        "again": again,
        "changes": laboratory.changes(one) if waits and not exchanged else [],
        "acceptable": waits and not exchanged and not own and not worked and may(request.user.roles, Verb.ACCEPT),
        "own": own and waits,
        "worked": worked and waits,
        "exchanged": exchanged,
        "exchange": exchange_of(one.lot) if exchanged else None,
        "repeat": repeat,
        "panels": _panels(one, earlier),
        "actions": _actions(request, one) if earlier else [],
        "papers": laboratory.certificates(one, request.user) if earlier else [],
        "samples": laboratory.samples_of(one.lot, request.user).filter(gross_mg__gt=0, valued=False),
        **_behind(one),
    }


def _actions(request: HttpRequest, one: Determination) -> list[Action]:
    if not may(request.user.roles, Verb.DETERMINE):
        return []
    url = reverse("assay-certificate", kwargs={"number": one.number})
    return [Action(label="Issue the assay certificate", url=url, method="post")]


def _behind(one: Determination) -> dict:
    """The worksheet behind a determination: what its proofs say, and the arithmetic of the lot's pieces."""
    if one.worksheet is None:
        return {}
    book = worksheets.book_of(one.worksheet)
    try:
        lines = corrections(book.sheet)
    except Refused as refused:
        lines = [refused.sentence]
    return {"worksheet": one.worksheet, "corrections": lines, "results": book.results()[one.lot.number], "quiet": True}


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
        *(
            Fact(label=f"{metal}, ‰", value=_fineness(ppm, ppb))
            for metal, ppm, ppb in zip(METALS, one.ppm, one.expanded_ppb or [0] * len(METALS), strict=True)
        ),
        Fact(label="Method", value=one.method),
        *([_worksheet(one)] if one.worksheet else []),
        Fact(label="Sample", value=one.sample.number if one.sample else "the lot itself"),
        Fact(label="Determined by", value=one.by),
        Fact(label="Determined", at=one.at),
    ]
    if earlier:
        said += [Fact(label="Accepted by", value=earlier.by), Fact(label="Accepted", at=earlier.at)]
    return [Panel(title="Determination", facts=said, note=one.note)]


def _worksheet(one: Determination) -> Fact:
    url = reverse("worksheet-results", kwargs={"number": one.worksheet.number})
    return Fact(label="Worksheet", value=one.worksheet.number, url=url)


def _fineness(ppm: int, expanded_ppb: int) -> str:
    """A fineness with its expanded uncertainty, where one is stated."""
    return f"{format_per_mille(ppm)} ± {expanded_words(expanded_ppb)}" if expanded_ppb else format_per_mille(ppm)
