"""Dividing a lot, and correcting what the book says of one by a countersigned difference."""

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from custody.actions._post import Posted
from custody.actions.work import correct_lot
from custody.calc.rules import rule_for
from custody.errors import CountersignatureNeeded, ReasonNeeded, Refusal, UnknownLot
from custody.models import Lot
from custody.queries import scope
from custody.roles import Verb
from custody.staff.entry import Entry, StepForm, place_choices
from custody.staff.lines import FixedLotRows, Line, Lines, LossRows, WholeLotRows
from custody.staff.split import PartRows, record_split
from custody.terms import COLUMNS, METALS, Form, Kind
from custody.web.access import needs
from custody.web.forms import DayField, GramsField, rows_of


@needs(Verb.WEIGH)
def divide(request: HttpRequest) -> HttpResponse:
    """A lot in parts by weight; what is lost in dividing is declared."""
    sent = request.POST if request.method == "POST" else None
    lots = [{"lot": lot} for lot in request.GET.getlist("lot")[:1]]
    options = {"causes": rule_for(Kind.DIVIDE).causes, "metals": False}
    rows = {
        "in": WholeLotRows(sent, prefix="in", initial=lots),
        "out": PartRows(sent, prefix="out", form_kwargs={"places": place_choices()}),
        "loss": LossRows(sent, prefix="loss", form_kwargs=options),
    }
    entry = Entry(request, StepForm(sent), rows)
    done = entry.record(lambda: _divide(entry), "The division")
    if done:
        return done
    return render(request, "staff/plant/divide.html", entry.context(columns=COLUMNS[:1]))


def _divide(entry: Entry) -> Posted:
    code = entry.rows["in"].rows[0]["lot"]
    lot = entry.lots.get(code)
    if lot is None:
        raise UnknownLot(lot=code)
    return record_split(entry, Kind.DIVIDE, lot, Form.OTHER if lot.form == Form.BAR else Form(lot.form))


class CorrectForm(StepForm):
    """What was measured of a lot, and why the book is wrong. Always countersigned."""

    always = True
    place = None
    about = DayField(
        label="About the day",
        required=False,
        help_text="Only when the difference belongs to an earlier, closed month.",
    )
    seen = forms.IntegerField(widget=forms.HiddenInput)

    field_order = ("at", "about", "reason")


class Measured(Line):
    """What the scale and the assay say now."""

    gross = GramsField(metal="gross")

    def __init__(self, *args, metals: bool = True, **kwargs):
        super().__init__(*args, **kwargs)
        if metals:
            for metal in METALS:
                self.fields[metal] = GramsField(metal=metal, required=False)


class MeasuredLines(Lines):
    title, row_word, side, lot_field = "Measured now", "measurement", "out", ""
    note = "It begins with what the book says: change what was measured otherwise."


MeasuredRows = rows_of(Measured, MeasuredLines, extra=0, most=1)


@needs(Verb.CORRECT)
def correct(request: HttpRequest, number: str) -> HttpResponse:
    """Posts the difference between book and measurement openly, countersigned and with its reason."""
    lot = get_object_or_404(scope.lots(request.user).select_related("place", "custodian"), number=number)
    sent = request.POST if request.method == "POST" else None
    book = {"gross": lot.gross_mg, **dict(zip(METALS, lot.metals_mg, strict=True))}
    rows = {
        "in": FixedLotRows(sent, prefix="in", initial=[{"lot": lot.number}]),
        "out": MeasuredRows(sent, prefix="out", initial=[book], form_kwargs={"metals": lot.valued}),
    }
    entry = Entry(request, CorrectForm(sent, initial={"seen": lot.last_movement}), rows)
    done = entry.record(lambda: _correct(entry, lot), "The difference")
    if done:
        return done
    context = entry.context(lot=lot, columns=COLUMNS if lot.valued else COLUMNS[:1])
    return render(request, "staff/plant/correct.html", context)


def _correct(entry: Entry, lot: Lot) -> Posted:
    form = entry.form
    if form.cleaned_data["seen"] != lot.last_movement:
        raise Refusal("Somebody worked this lot since you opened the page. Open it again, and weigh again.")
    if not form.cleaned_data["reason"].strip():
        raise ReasonNeeded("A difference says why.")
    signature = form.signature(entry.request)
    if signature is None:
        raise CountersignatureNeeded(metal="any metal", kind=Kind.DIFFERENCE)
    measured = entry.rows["out"].rows[0]
    return correct_lot(
        lot=lot.number,
        gross_mg=measured["gross"],
        fine_mg={metal: measured.get(metal) or 0 for metal in METALS} if lot.valued else {},
        book_mg=lot.columns_mg,
        at=form.moment,
        reason=form.cleaned_data["reason"],
        countersign=signature,
        by=entry.request.user,
        about=form.cleaned_data["about"],
        request_key=form.cleaned_data["request_key"],
    )
