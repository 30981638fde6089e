"""Stamping: blanks in, bars out one to one, each on the scale with its serial; what is not stamped stays a blank."""

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse

from custody.actions._post import Posted
from custody.actions.work import Lose, Make, record_step
from custody.calc.bar_work import Followed, Piece, follow, follow_each
from custody.calc.refusals import Refused
from custody.calc.rules import rule_for
from custody.calc.safety import cautions_for
from custody.queries.bar_shop import type_for
from custody.roles import Verb
from custody.staff.lines import LossRows, LotsIn, WholeLot
from custody.staff.plant.bar_rows import (
    MOST_BARS,
    BarEntry,
    BarRows,
    LayForm,
    LeftRows,
    fine,
    laid,
    lots_named,
    serials_for,
)
from custody.terms import COLUMNS, Form, Kind
from custody.web.access import needs
from custody.web.forms import rows_of
from custody.web.weighing import weighing_kwargs

_NOT_STAMPED = (Form.BLANK, Form.SKELETON, Form.OTHER)


class BlanksIn(LotsIn):
    template_name = "staff/plant/close_rows.html"
    title, row_word, add_label = "Blanks in", "blank in", "Add a blank"
    note = "Single blanks, as many as bars come out and in their order; or the blanks of one lot."


BlankInRows = rows_of(WholeLot, BlanksIn)


@needs(Verb.CAST)
def stamp(request: HttpRequest) -> HttpResponse:
    """Blanks become bars."""
    entry, fault = _entry(request, request.POST if request.method == "POST" else None), None
    if request.method != "POST":
        _begin(entry)
    elif entry.asks == "lay":
        try:
            entry = _entry(request, _laid_out(entry))
        except Refused as refused:
            fault = refused.sentence
    done = entry.record(lambda: _record(entry), "The stamping")
    if done:
        return done
    context = entry.context(
        balance_columns=COLUMNS[:1],
        by_weight=True,
        cautions=cautions_for(Kind.STAMP),
        fault=fault,
        lay="Lay out the bars",
        cancel_url=reverse("bars"),
    )
    return render(request, "staff/plant/stamp.html", context)


def _entry(request: HttpRequest, sent: QueryDict | None) -> BarEntry:
    weighs = weighing_kwargs(request.user)
    scales = {"scales": weighs["scales"]}
    lots = [{"lot": lot} for lot in lots_named(request)]
    rows = {
        "in": BlankInRows(sent, prefix="in", initial=lots),
        "bar": BarRows(sent, prefix="bar", form_kwargs=scales),
        "rest": LeftRows(sent, prefix="rest", form_kwargs=scales | {"made": _NOT_STAMPED}),
        "loss": LossRows(sent, prefix="loss", form_kwargs={"causes": rule_for(Kind.STAMP).causes, "metals": False}),
    }
    return BarEntry(request, LayForm(sent, **weighs), rows)


def _begin(entry: BarEntry) -> None:
    """The type that the blanks are usually for; as many bars as single blanks."""
    lots = list(entry.lots.values())
    kind = type_for(lots)
    entry.form.initial["bar_type"] = kind
    if kind:
        entry.form.initial["count"] = len(lots)
    elif len(lots) == 1:
        entry.form.fields["count"].help_text = "As many as the lot has blanks."


def _laid_out(entry: BarEntry) -> QueryDict:
    """What was sent, with as many bars more as were asked for. Raises Refused for a plan that cannot be read."""
    count = entry.form.cleaned_data.get("count") or max(len(entry.lots), 0)
    before = [row for row in entry.rows["bar"].forms if row.touched()]
    if not count:
        raise Refused("To lay out bars, scan the blanks, or give how many.")
    if len(before) + count > MOST_BARS:
        raise Refused(f"No more than {MOST_BARS} bars fit in one stamping. Record the rest in another.")
    house = entry.request.refinery
    bars = [{name: row[name].data or "" for name in row.fields} for row in before]
    serials = serials_for(entry, entry.request.user, house.mark if house else "", count)
    return laid(entry.request.POST, [*bars, *({"serial": serial} for serial in serials)])


def _shared(entry: BarEntry, bars: list[int], rest: list[int], losses: list[int]) -> Followed:
    lots = entry.lots_in()
    if len(lots) == 1:
        return follow(lots[0].gross_mg, lots[0].metals_mg, [*bars, *rest], losses)
    if len(lots) != len(bars):
        raise Refused(
            f"{len(lots)} blanks go in and {len(bars)} bars come out. Stamp one bar of each blank, or the blanks of one"
            " lot at a time.",
            field="outputs",
        )
    pieces = [Piece(lot.gross_mg, lot.metals_mg, bar) for lot, bar in zip(lots, bars, strict=True)]
    return follow_each(pieces, rest, losses)


def _record(entry: BarEntry) -> Posted:
    said, lost, lots = entry.form.cleaned_data, entry.losses(), entry.lots_in()
    scale, code = said["scale"], said["bar_type"].code if said["bar_type"] else ""
    bars = [(row, row.weighed_on(scale)) for row in entry.filled("bar")]
    rest = [(row, row.weighed_on(scale)) for row in entry.filled("rest")]
    if any(weighed is None for _, weighed in rest):
        raise Refused("Weigh what is not stamped, or clear its row.", field="outputs")
    weights = [weighed.net_mg for _, weighed in bars], [weighed.net_mg for _, weighed in rest]
    found = _shared(entry, *weights, [loss.gross_mg for loss in lost])
    valued = all(lot.valued for lot in lots)
    outputs = [
        Make(
            Form.BAR,
            weighed.net_mg,
            fine(metals, valued),
            serial=row.cleaned_data["serial"].strip(),
            replaces=row.cleaned_data["replaces"].strip(),
            bar_type=code,
            weighed=weighed,
        )
        for (row, weighed), metals in zip(bars, found.parts, strict=False)
    ]
    outputs += [
        Make(Form(row.cleaned_data["form"]), weighed.net_mg, fine(metals, valued), weighed=weighed)
        for (row, weighed), metals in zip(rest, found.parts[len(bars) :], strict=True)
    ]
    losses = [
        Lose(loss.cause, loss.gross_mg, fine(metals, valued), loss.words)
        for loss, metals in zip(lost, found.losses, strict=True)
    ]
    return record_step(
        kind=Kind.STAMP,
        inputs=entry.takes(),
        outputs=outputs,
        losses=tuple(losses),
        place=said["place"],
        **entry.head(),
    )
