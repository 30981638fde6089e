"""Casting bars: sand or granules in; bars on the scale with serials, or blanks to be adjusted; the rest to stock."""

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render

from custody.actions._post import Posted
from custody.actions.work import Make, record_step
from custody.calc.balance import total
from custody.calc.casting import Poured, pour
from custody.calc.fineness import format_per_mille
from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.calc.rules import rule_for
from custody.calc.safety import cautions_for
from custody.errors import Unbalanced
from custody.roles import Verb
from custody.staff.lines import AdditionRows, LossRows, LotsInRows
from custody.staff.plant.bar_rows import (
    MOST_BARS,
    BarEntry,
    Bars,
    LayForm,
    Left,
    LeftOver,
    Stamped,
    fine,
    laid,
    lots_named,
    serials_for,
)
from custody.terms import COLUMNS, METALS, PPM, PRECIOUS, Form, Kind
from custody.web.access import needs
from custody.web.forms import PerMilleField, rows_of
from custody.web.weighing import weighing_kwargs

_LEFT = (Form.SKELETON, Form.MELT, Form.GRANULES, Form.FILINGS, Form.OTHER)


class FinenessOfBar(PerMilleField):
    """Fineness of a bar; the running balance reckons its metal from it."""

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"data-fineness": True, "data-skip": True}


class CastForm(LayForm):
    """What every bar of the cast has in common, and how to lay out several at once."""

    metal = forms.ChoiceField(
        label="Metal of the bars",
        choices=[(metal, metal) for metal in PRECIOUS],
        widget=forms.Select(attrs={"data-balance-metal": True}),
    )
    fineness = PerMilleField(
        label="Fineness of each, ‰", required=False, help_text="Blank: that of the lots in, never rounded up."
    )
    unstamped = forms.BooleanField(label="To be adjusted first: cast them as blanks, without serials", required=False)

    field_order = (
        "metal", "bar_type", "scale", "place", "at", "reason", "count", "fineness", "first_serial", "unstamped"
    )  # fmt: skip

    def clean(self):
        said = super().clean()
        if said.get("bar_type") and said["bar_type"].metal != said.get("metal"):
            self.add_error("bar_type", f"{said['bar_type']} is of {said['bar_type'].metal}. Choose its metal.")
        return said


class BarLine(Stamped):
    """One bar: what it weighs, its fineness and the serial stamped on it; without one it is a blank."""

    fineness = FinenessOfBar(label="Fineness, ‰")
    field_order = ("serial", "gross", "fineness")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["serial"].required = False

    def judge(self, bar_type):
        """A blank may be too heavy: it is filed later."""
        over = self.cleaned_data["gross"] > bar_type.most_mg
        if self.cleaned_data["serial"] or not over:
            super().judge(bar_type)
        if self.cleaned_data["fineness"] < bar_type.least_ppm and "fineness" not in self.errors:
            least = format_per_mille(bar_type.least_ppm)
            self.add_error("fineness", f"{bar_type} asks for {least} ‰ at least.")


class CastBars(Bars):
    note = (
        "Weigh every bar: its fine metal is its weight times its fineness. Too light, it is remelted; too heavy, clear"
        " its serial, and it is a blank to be filed."
    )


class RestLine(Left):
    """What is left of the pour and goes back to stock, with every metal that the bars do not hold."""

    tare, tare_reading = None, None
    must_weigh = True

    def __init__(self, *args, **kwargs):
        super().__init__(*args, made=_LEFT, **kwargs)
        self.fields["gross"].widget.attrs["data-balance-rest"] = True


class Rest(LeftOver):
    title = "Remainder back to stock"
    note = "It takes the metals that bars and losses leave."


BarRows = rows_of(BarLine, CastBars, extra=5, most=MOST_BARS)
RestRows = rows_of(RestLine, Rest, extra=1, most=1)


@needs(Verb.CAST)
def cast(request: HttpRequest) -> HttpResponse:
    """Several bars at once, each with its serial and its weight."""
    entry, fault = _entry(request, request.POST if request.method == "POST" else None), None
    if entry.asks == "lay":
        try:
            entry = _entry(request, _laid_out(entry))
        except Refused as refused:
            fault = refused.sentence
    done = entry.record(lambda: _record(entry), "The cast")
    if done:
        return done
    context = entry.context(balance_columns=COLUMNS, cautions=cautions_for(Kind.CAST), fault=fault)
    return render(request, "staff/plant/cast.html", context)


def _entry(request: HttpRequest, sent: QueryDict | None) -> BarEntry:
    rule, weighs = rule_for(Kind.CAST), weighing_kwargs(request.user)
    scales = {"scales": weighs["scales"]}
    lots = [{"lot": lot} for lot in lots_named(request)]
    rows = {
        "in": LotsInRows(sent, prefix="in", initial=lots),
        "bar": BarRows(sent, prefix="bar", form_kwargs=scales),
        "rest": RestRows(sent, prefix="rest", form_kwargs=scales),
        "add": AdditionRows(sent, prefix="add", form_kwargs={"additions": rule.additions}),
        "loss": LossRows(sent, prefix="loss", form_kwargs={"causes": rule.causes}),
    }
    return BarEntry(request, CastForm(sent, **weighs), rows)


def _laid_out(entry: BarEntry) -> QueryDict:
    """What was sent, with as many bars more as were asked for. Raises Refused for a plan that cannot be read."""
    plan = entry.form.cleaned_data
    fineness = plan.get("fineness") or _of_lots(entry, plan.get("metal"))
    if not plan.get("count") or not fineness:
        raise Refused("To lay out bars, give how many, and the fineness of each where the lots in are not valued.")
    before = [row for row in entry.rows["bar"].forms if row.touched()]
    if len(before) + plan["count"] > MOST_BARS:
        raise Refused(f"No more than {MOST_BARS} bars fit in one cast. Record the rest in another.")
    house = entry.request.refinery
    serials = [""] * plan["count"]
    if not plan.get("unstamped"):
        serials = serials_for(entry, entry.request.user, house.mark if house else "", plan["count"])
    bars = [{name: row[name].data or "" for name in row.fields} for row in before]
    bars += [{"serial": serial, "fineness": format_per_mille(fineness)} for serial in serials]
    return laid(entry.request.POST, bars)


def _of_lots(entry: BarEntry, metal: str | None) -> int | None:
    """The fineness of what goes in by the book, rounded down, in ppm; None where it is not known."""
    going_in = entry.going_in()
    gross, *metals = total(line.columns_mg for line in going_in)
    known = gross and metal and all(line.lot.valued for line in going_in)
    return metals[METALS.index(metal)] * PPM // gross if known else None


def _poured(entry: BarEntry) -> Poured:
    bars = [(row.cleaned_data["gross"], row.cleaned_data["fineness"]) for row in entry.filled("bar")]
    rest = sum(row.cleaned_data["gross"] for row in entry.filled("rest"))
    lost = total((loss.gross_mg, *(loss.fine_mg.get(metal, 0) for metal in METALS)) for loss in entry.losses())
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


def _record(entry: BarEntry) -> Posted:
    poured, said = _poured(entry), entry.form.cleaned_data
    code = said["bar_type"].code if said["bar_type"] else ""
    bars = []
    for row, metals in zip(entry.filled("bar"), poured.bars, strict=True):
        serial = row.cleaned_data["serial"].strip()
        bars.append(
            Make(
                Form.BAR if serial else Form.BLANK,
                row.cleaned_data["gross"],
                fine(metals, valued=True),
                serial=serial,
                replaces=row.cleaned_data["replaces"].strip(),
                bar_type=code if serial else "",
                weighed=row.weighed_on(said["scale"]),
            )
        )
    rest = [
        Make(
            Form(row.cleaned_data["form"]),
            row.cleaned_data["gross"],
            fine(poured.remainder, valued=True),
            weighed=row.weighed_on(said["scale"]),
        )
        for row in entry.filled("rest")
    ]
    return record_step(
        kind=Kind.CAST,
        inputs=[row.take(entry.lots) for row in entry.filled("in")],
        additions=tuple(row.add() for row in entry.filled("add")),
        outputs=bars + rest,
        losses=tuple(entry.losses()),
        place=said["place"],
        **entry.head(),
    )
