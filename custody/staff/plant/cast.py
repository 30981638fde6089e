"""Casting bars: sand or granules in; bars with serials, the remainder back to stock, sweepings out."""

from collections.abc import Sequence

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone

from custody.actions._post import Posted
from custody.actions.work import Make, record_step
from custody.calc.balance import total
from custody.calc.casting import Poured, pour, serials_from
from custody.calc.fineness import format_per_mille
from custody.calc.mass import format_grams, plain_grams
from custody.calc.refusals import Refused
from custody.calc.rules import rule_for
from custody.calc.safety import cautions_for
from custody.errors import Unbalanced
from custody.queries import plant
from custody.roles import Verb
from custody.staff.entry import Entry, StepForm
from custody.staff.lines import AdditionRows, Line, Lines, LossRows, LotsInRows
from custody.terms import COLUMNS, METALS, Form, Kind
from custody.web.access import needs
from custody.web.forms import GramsField, PerMilleField, rows_of

MOST_BARS = 200
_PRECIOUS = ("Au", "Ag", "Pt", "Pd")
_BACK_TO_STOCK = (Form.SKELETON, Form.MELT, Form.GRANULES, Form.FILINGS, Form.OTHER)


class FinenessOfBar(PerMilleField):
    """Fineness of a bar; the running balance reckons its metal from it."""

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"data-fineness": True}


class GrossOfRest(GramsField):
    """Gross of the remainder; the running balance leaves the other metals there."""

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"data-balance-rest": True}


class CastForm(StepForm):
    """What every bar of the cast has in common, and how to lay out several at once."""

    metal = forms.ChoiceField(
        label="Metal of the bars",
        choices=[(metal, metal) for metal in _PRECIOUS],
        widget=forms.Select(attrs={"data-balance-metal": True}),
    )
    count = forms.IntegerField(label="How many bars", min_value=1, max_value=MOST_BARS, required=False)
    nominal = GramsField(label="Nominal of each, g", what="nominal weight", required=False)
    fineness = PerMilleField(label="Fineness of each, ‰", required=False, initial=999_900)
    first_serial = forms.CharField(label="First serial", max_length=40, required=False)

    field_order = ("metal", "place", "at", "reason", "count", "nominal", "fineness", "first_serial")


class BarLine(Line):
    """One bar: what it should weigh, what it weighs, its fineness and the serial stamped on it."""

    serial = forms.CharField(label="Serial", max_length=40)
    nominal = GramsField(label="Nominal, g", what="nominal weight", required=False)
    weighed = GramsField(label="Weighed, g", metal="gross")
    fineness = FinenessOfBar(label="Fineness, ‰")
    replaces = forms.CharField(label="Replaces lot", max_length=40, required=False)


class Bars(Lines):
    title, row_word, add_label, side, lot_field = "Bars", "bar", "Add a bar", "out", "serial"
    note = (
        "Weigh every bar: its fine metal is its weight times its fineness. A serial stamped before, on a bar that a"
        " reversal cancelled, names the lot of that bar as replaced."
    )


class RestLine(Line):
    """What is left of the pour and goes back to stock, with every metal that the bars do not hold."""

    silent = frozenset({"form"})
    form = forms.ChoiceField(label="Form", choices=[(form.value, form.label) for form in _BACK_TO_STOCK])
    gross = GrossOfRest(metal="gross")


class Rest(Lines):
    title, row_word, side, required, lot_field = "Remainder back to stock", "remainder", "out", False, ""
    note = "It takes the metals that bars and losses leave."


BarRows = rows_of(BarLine, Bars, extra=5, most=MOST_BARS)
RestRows = rows_of(RestLine, Rest, extra=1, most=1)


@needs(Verb.CAST)
def cast(request: HttpRequest) -> HttpResponse:
    """Several bars at once, each with its serial, its nominal and its weighed mass."""
    rule = rule_for(Kind.CAST)
    proposed = _next_serial(request)
    sent, fault = _laid_out(request.POST, proposed) if request.method == "POST" else (None, None)
    lots = [{"lot": lot} for lot in request.GET.getlist("lot")]
    rows = {
        "in": LotsInRows(sent, prefix="in", initial=lots),
        "bar": BarRows(sent, prefix="bar"),
        "rest": RestRows(sent, prefix="rest"),
        "add": AdditionRows(sent, prefix="add", form_kwargs={"additions": rule.additions}),
        "loss": LossRows(sent, prefix="loss", form_kwargs={"causes": rule.causes}),
    }
    entry = Entry(request, CastForm(sent, initial={"first_serial": proposed}), rows)
    done = entry.record(lambda: _record(entry), "The cast")
    if done:
        return done
    context = entry.context(balance_columns=COLUMNS, cautions=cautions_for(Kind.CAST), fault=fault)
    return render(request, "staff/plant/cast.html", context)


def _next_serial(request: HttpRequest) -> str:
    mark = request.refinery.mark if request.refinery else ""
    return plant.next_serial(request.user, timezone.localdate().year, mark)


def _laid_out(sent: QueryDict, proposed: str) -> tuple[QueryDict, str | None]:
    """What was sent; asked to lay out bars, with as many rows more. A sentence where the plan can't be read."""
    if "lay" not in sent:
        return sent, None
    form = CastForm(sent)
    form.is_valid()
    plan = form.cleaned_data
    if not all(plan.get(name) for name in ("count", "nominal", "fineness")):
        return sent, "To lay out bars, give how many, the nominal weight and the fineness of each, as numbers."
    try:
        serials = serials_from(plan.get("first_serial") or proposed, plan["count"] + 1)
    except Refused as refused:
        return sent, refused.sentence
    before = [row for row in BarRows(sent, prefix="bar").forms if row.touched()]
    if len(before) + plan["count"] > MOST_BARS:
        return sent, f"No more than {MOST_BARS} bars fit in one cast. Record the rest in another."
    filled = sent.copy()
    bars = [{name: row[name].data or "" for name in row.fields} for row in before]
    same = {
        "nominal": plain_grams(plan["nominal"]),
        "weighed": plain_grams(plan["nominal"]),
        "fineness": format_per_mille(plan["fineness"]),
        "replaces": "",
    }
    bars += [{"serial": serial} | same for serial in serials[:-1]]
    filled["bar-TOTAL_FORMS"] = str(len(bars))
    for i, bar in enumerate(bars):
        for name, value in bar.items():
            filled[f"bar-{i}-{name}"] = value
    filled["first_serial"] = serials[-1]
    filled["count"] = ""
    return filled, None


def _poured(entry: Entry) -> Poured:
    bars = [(row.cleaned_data["weighed"], row.cleaned_data["fineness"]) for row in entry.rows["bar"].filled]
    rest = sum(row.cleaned_data["gross"] for row in entry.rows["rest"].filled)
    lost = total(
        (row.lose().gross_mg, *(row.fine_mg.get(metal, 0) for metal in METALS)) for row in entry.rows["loss"].filled
    )
    came = total(line.columns_mg for line in entry.going_in())
    available = [mg - gone for mg, gone in zip(came[1:], lost[1:], strict=True)]
    poured = pour(available, bars, rest, entry.form.cleaned_data["metal"])
    short = {metal: mg for metal, mg in zip(METALS, poured.remainder, strict=True) if mg < 0}
    if short:
        raise Unbalanced(missing_mg=short)
    if rest and sum(poured.remainder) > rest:
        left = sum(poured.remainder)
        raise Refused(
            f"The remainder of {format_grams(rest)} g would have to hold {format_grams(left)} g of metal: the bars take"
            " less than came in. Check the fineness of the bars and the weights."
        )
    return poured


def _record(entry: Entry) -> Posted:
    poured = _poured(entry)
    bars = [
        Make(
            Form.BAR,
            row.cleaned_data["weighed"],
            _fine(metals),
            serial=row.cleaned_data["serial"].strip(),
            replaces=row.cleaned_data["replaces"].strip(),
        )
        for row, metals in zip(entry.rows["bar"].filled, poured.bars, strict=True)
    ]
    rest = [
        Make(
            Form(row.cleaned_data["form"]), row.cleaned_data["gross"], dict(zip(METALS, poured.remainder, strict=True))
        )
        for row in entry.rows["rest"].filled
    ]
    return record_step(
        kind=Kind.CAST,
        inputs=[row.take(entry.lots) for row in entry.rows["in"].filled],
        additions=tuple(row.add() for row in entry.rows["add"].filled),
        outputs=bars + rest,
        losses=tuple(row.lose() for row in entry.rows["loss"].filled),
        place=entry.form.cleaned_data["place"],
        **entry.head(),
    )


def _fine(metals: Sequence[int]) -> dict[str, int]:
    return dict(zip(METALS, metals, strict=True))
