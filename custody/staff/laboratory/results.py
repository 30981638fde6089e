"""What a worksheet comes to, with the arithmetic, and its report."""

from dataclasses import dataclass

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from custody.actions.report import Report, Said, report
from custody.calc.fineness import format_per_mille
from custody.calc.refusals import Refused
from custody.calc.worksheet_results import Result, corrections
from custody.errors import Refusal
from custody.models import Determination, Lot, RepeatOrder, Worksheet
from custody.queries import worksheets
from custody.queries.worksheets import Book
from custody.roles import Verb, may
from custody.terms import METALS
from custody.web.access import needs
from custody.web.forms import BaseForm, PerMilleField
from custody.web.panels import Action


@dataclass(frozen=True, slots=True)
class OfLot:
    """One lot of a worksheet: its results, what was reported of it, and the fields of its report."""

    lot: Lot
    results: list[Result]
    determination: Determination | None = None
    orders: tuple[RepeatOrder, ...] = ()
    tick: forms.BoundField | None = None
    limits: tuple[forms.BoundField, ...] = ()
    others: tuple[forms.BoundField, ...] = ()

    @property
    def open(self) -> bool:
        """Whether anything of it can still be reported."""
        return self.tick is not None

    @property
    def refused(self) -> bool:
        """Whether one of the fields that are folded away is to be mended."""
        return any(field.errors for field in self.others)


class ReportForm(BaseForm):
    """Which lots are reported, limits agreed where a method has none, and metals of other assays."""

    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def __init__(self, *args, book: Book, lots: dict[Lot, list[Result]], **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["seen"].initial = book.seen
        self.lots = lots
        before = worksheets.earlier_figures(lots, book.worksheet)
        for lot, results in lots.items():
            self._add(lot, results, before.get(lot.number))

    def _add(self, lot: Lot, results: list[Result], before: Determination | None) -> None:
        again = any(one.again for one in results)
        label = f"Assay {lot.number} again" if again else f"Report {lot.number}"
        ready = all(one.agreed or one.again for one in results)
        self.fields[f"report_{lot.pk}"] = forms.BooleanField(label=label, required=False, initial=ready)
        for one in results:
            if one.agreed is None and not one.again:
                self.fields[f"limit_{lot.pk}_{one.metal}"] = PerMilleField(
                    label=f"Limit for two, {one.metal}, ‰", what="limit", required=False
                )
        for metal in worksheets.other_metals(results):
            ppm = before.ppm[METALS.index(metal)] if before else 0
            said = f"Blank: {format_per_mille(ppm)} of {before.worksheet}; 0: none." if ppm else ""
            self.fields[f"other_{lot.pk}_{metal}"] = PerMilleField(
                label=f"{metal}, ‰", what=f"fineness of {metal}", zero=True, required=False, help_text=said
            )
        self.fields[f"remark_{lot.pk}"] = forms.CharField(label="Remark", required=False, max_length=500)

    def of(self, lot: Lot, *kinds: str) -> tuple[forms.BoundField, ...]:
        """The fields of one lot, of these kinds."""
        starts = tuple(f"{kind}_{lot.pk}_" for kind in kinds)
        return tuple(self[name] for name in self.fields if f"{name}_".startswith(starts))

    @property
    def said(self) -> list[Said]:
        """The lots that were ticked, with what was added to each."""
        told = self.cleaned_data
        return [
            Said(
                lot.number,
                others=self._figures(lot, "other", METALS),
                agreed_ppm=self._figures(lot, "limit", METALS),
                remark=told[f"remark_{lot.pk}"],
            )
            for lot in self.lots
            if told[f"report_{lot.pk}"]
        ]

    def _figures(self, lot: Lot, kind: str, metals: tuple[str, ...]) -> dict[str, int]:
        told = {metal: self.cleaned_data.get(f"{kind}_{lot.pk}_{metal}") for metal in metals}
        return {metal: ppm for metal, ppm in told.items() if ppm is not None}


@needs(Verb.DETERMINE, Verb.ACCEPT, Verb.READ_BOOK)
def results(request: HttpRequest, number: str) -> HttpResponse:
    """Every lot's pieces with their arithmetic, mean, spread and verdict; an assayer reports them."""
    worksheet = get_object_or_404(worksheets.worksheets(request.user), number=number)
    may_report = may(request.user.roles, Verb.DETERMINE)
    if request.method == "POST" and not may_report:
        raise PermissionDenied("You may not report results.")
    book = worksheets.book_of(worksheet)
    found, done = book.results(), worksheets.reported(worksheet)
    ready = {lot: found[lot.number] for lot in book.lots if lot.number not in done and _finished(found[lot.number])}
    form = ReportForm(request.POST if request.method == "POST" else None, book=book, lots=ready)
    if request.method == "POST" and form.is_valid():
        try:
            outcome = _report(request, worksheet, form)
        except (Refusal, Refused) as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, _told(outcome))
            return redirect("worksheet-results", worksheet.number)
    url = reverse("worksheet", kwargs={"number": worksheet.number})
    context = {
        "worksheet": worksheet,
        "form": form,
        "corrections": _corrections(book),
        "lots": [_of_lot(lot, found[lot.number], worksheet, done, form if may_report else None) for lot in book.lots],
        "may_report": may_report and bool(ready),
        "actions": [Action(label="Readings", url=url)],
    }
    return render(request, "staff/laboratory/worksheet_results.html", context)


def _finished(results: list[Result]) -> bool:
    return all(one.again or not one.fault for one in results)


def _corrections(book: Book) -> list[str]:
    try:
        return corrections(book.sheet)
    except Refused as refused:
        return [refused.sentence]


def _report(request: HttpRequest, worksheet: Worksheet, form: ReportForm) -> Report:
    sent_again = not form.lots
    lots = _sent_lots(request, worksheet) if sent_again else form.said
    return report(
        worksheet=worksheet,
        lots=lots,
        seen=form.cleaned_data["seen"],
        at=timezone.now(),
        by=request.user,
        request_key=form.cleaned_data["request_key"],
    )


def _sent_lots(request: HttpRequest, worksheet: Worksheet) -> list[Said]:
    """The lots that a form ticked which are reported by now: sent twice, it asks for what it reported."""
    lots = Lot.objects.filter(pieces__worksheet=worksheet).distinct()
    return [Said(lot.number) for lot in lots if request.POST.get(f"report_{lot.pk}")]


def _told(outcome: Report) -> str:
    made = ", ".join(f"{one.number} of lot {one.lot.number}" for one in outcome.determinations)
    again = ", ".join(dict.fromkeys(one.lot.number for one in outcome.repeats))
    said = [f"Reported: {made}. A second person accepts."] if made else []
    said += [f"To be assayed again: {again}."] if again else []
    return " ".join(said)


def _of_lot(lot: Lot, results: list[Result], worksheet: Worksheet, done: dict, form: ReportForm | None) -> OfLot:
    said = done.get(lot.number)
    if isinstance(said, Determination):
        return OfLot(lot, results, determination=said)
    if said:
        orders = worksheet.repeats.filter(lot=lot, determination=None)
        return OfLot(lot, results, orders=tuple(orders))
    if form is None or lot not in form.lots:
        return OfLot(lot, results)
    (tick,) = form.of(lot, "report")
    return OfLot(lot, results, None, (), tick, form.of(lot, "limit"), form.of(lot, "other", "remark"))
