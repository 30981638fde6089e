"""The way of a strip: cast, rolled, punched into blanks, annealed, filed. Metals follow the weights alone."""

from dataclasses import dataclass

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from custody.actions._post import Posted
from custody.actions.weigh import Weighed
from custody.actions.work import Lose, Make, record_step
from custody.calc.balance import total
from custody.calc.bar_work import Followed, Piece, follow, follow_each
from custody.calc.refusals import Refused
from custody.calc.rules import rule_for
from custody.calc.safety import cautions_for
from custody.queries.bar_shop import type_for
from custody.roles import Verb
from custody.staff.lines import AdditionRows, LossRows, LotsInRows, TheLot, WholeLot
from custody.staff.plant.bar_rows import (
    MOST_BARS,
    BarEntry,
    CloseLines,
    FiledRows,
    Left,
    LeftOver,
    LeftRows,
    OnScale,
    PieceRows,
    TypeForm,
    fine,
    lots_named,
)
from custody.staff.sampling.forms import ScaleForm
from custody.terms import COLUMNS, METALS, Form, Kind
from custody.web.access import needs
from custody.web.forms import CountField, rows_of
from custody.web.weighing import weighing_kwargs


class CutForm(ScaleForm):
    """How many rows to lay out for what is cut or poured."""

    count = CountField(label="How many", required=False)
    field_order = ("scale", "place", "at", "reason", "count")

    def clean_count(self):
        return min(self.cleaned_data["count"] or 0, MOST_BARS)


class Made(CloseLines):
    """Every row that was laid out stays on the page, blank or not."""

    side, lot_field = "out", ""

    @property
    def shown(self):
        return self.forms if self.is_bound else super().shown


class Strips(Made):
    title, row_word, add_label, note = "Strips", "strip", "Add a strip", "Weigh each as it lies there."


class Blanks(Made):
    title, row_word, add_label = "Blanks", "blank", "Add a blank"
    note = "Weigh each blank for itself, or all together in one row: then they stay one lot until they are stamped."


class Filings(LeftOver):
    title, row_word, note = "Filings", "lot of filings", "All of them together, with their container or without."


StripRows = rows_of(OnScale, Strips, extra=2, most=MOST_BARS)
BlankRows = rows_of(OnScale, Blanks, extra=5, most=MOST_BARS)
OneStripRows = rows_of(WholeLot, TheLot, extra=1, most=1)
FilingRows = rows_of(Left, Filings, extra=1, most=1)


@dataclass(frozen=True, slots=True)
class Work:
    """One page: what is worked, whether each piece by itself, and what comes off it."""

    kind: Kind
    title: str
    under: str
    each: bool = False
    makes: Form | None = None
    left: tuple[Form, ...] = ()
    next_step: str = ""


_STOCK = (Form.SKELETON, Form.MELT, Form.GRANULES, Form.OTHER)
WORKS = {
    "cast-strip": Work(
        Kind.CAST_STRIP, "Cast strip",
        "Metal is poured into strips; each strip is a lot, what is left goes back to stock.",
        makes=Form.STRIP, left=(Form.MELT, Form.SKELETON, Form.GRANULES, Form.OTHER), next_step="roll",
    ),
    "roll": Work(
        Kind.ROLL, "Roll strip", "Each strip stays by itself; trimmed ends go back to stock as skeleton.",
        each=True, left=_STOCK, next_step="punch",
    ),
    "punch": Work(
        Kind.PUNCH, "Punch blanks", "Blanks are punched from one strip; the skeleton goes back to stock by weight.",
        makes=Form.BLANK, left=_STOCK, next_step="anneal",
    ),
    "anneal": Work(
        Kind.ANNEAL, "Anneal", "Strips or blanks are softened; their weight stays, or is weighed again.",
        each=True, next_step="adjust",
    ),
    "adjust": Work(
        Kind.ADJUST, "Adjust by filing", "Each blank is filed to its weight, never below it; the filings are a lot.",
        each=True, left=(Form.FILINGS,), next_step="stamp",
    ),
}  # fmt: skip


@needs(Verb.CAST)
def work(request: HttpRequest, slug: str) -> HttpResponse:
    """One step on the way from metal to blanks."""
    if slug not in WORKS:
        raise Http404("There is no such step.")
    one = WORKS[slug]
    sent = request.POST if request.method == "POST" else None
    entry = _entry(request, one, sent)
    if entry.asks == "lay":
        entry = _entry(request, one, _laid(entry))
    done = entry.record(lambda: _record(entry, one), one.title)
    if done:
        return done
    _say_to_file(entry, one)
    context = entry.context(
        work=one,
        cautions=cautions_for(one.kind),
        balance_columns=COLUMNS[:1],
        lay="Lay out the rows" if one.makes else "",
        by_weight=True,
        cancel_url=reverse("bars"),
    )
    return render(request, "staff/plant/bar_work.html", context)


def _entry(request: HttpRequest, one: Work, sent) -> BarEntry:
    rule = rule_for(one.kind)
    weighs = weighing_kwargs(request.user)
    scales = {"scales": weighs["scales"]}
    lots = [{"lot": lot} for lot in lots_named(request)]
    if one.each:
        pieces = FiledRows if one.kind is Kind.ADJUST else PieceRows
        options = scales | {"weigh": one.kind is Kind.ADJUST}
        rows = {"in": pieces(sent, prefix="in", initial=lots, form_kwargs=options)}
    else:
        taken = OneStripRows if one.kind is Kind.PUNCH else LotsInRows
        rows = {"in": taken(sent, prefix="in", initial=lots)}
        made = StripRows if one.makes is Form.STRIP else BlankRows
        rows["out"] = made(sent, prefix="out", form_kwargs=scales)
    if one.left:
        lefts = FilingRows if one.kind is Kind.ADJUST else LeftRows
        rows["rest"] = lefts(sent, prefix="rest", form_kwargs=scales | {"made": one.left})
    if rule.additions:
        rows["add"] = AdditionRows(sent, prefix="add", form_kwargs={"additions": rule.additions})
    rows["loss"] = LossRows(
        sent, prefix="loss", form_kwargs={"causes": rule.causes, "metals": one.kind is Kind.CAST_STRIP}
    )
    form = TypeForm if one.kind is Kind.ADJUST else CutForm if one.makes else ScaleForm
    return BarEntry(request, form(sent, **weighs), rows)


def _laid(entry: BarEntry):
    """What was sent, with as many rows out as were asked for."""
    sent = entry.request.POST.copy()
    kept = sum(1 for row in entry.rows["out"].forms if row.touched())
    sent["out-TOTAL_FORMS"] = str(min(kept + (entry.form.cleaned_data.get("count") or 0), MOST_BARS) or 1)
    sent["count"] = ""
    return sent


def _say_to_file(entry: BarEntry, one: Work) -> None:
    """Beside each blank, how much is to be filed off it for the type chosen, or the one that is usual."""
    if one.kind is not Kind.ADJUST:
        return
    lots = [entry.lots.get(str(row["lot"].value() or "").strip()) for row in entry.rows["in"].forms]
    known = [lot for lot in lots if lot]
    if entry.form.is_bound:
        chosen = getattr(entry.form, "cleaned_data", {}).get("bar_type")
    else:
        chosen = entry.form.initial["bar_type"] = type_for(known)
    if chosen:
        for row, lot in zip(entry.rows["in"].forms, lots, strict=True):
            if lot:
                row.tell(lot, chosen)


def _record(entry: BarEntry, one: Work) -> Posted:
    lots, lost, made = entry.lots_in(), entry.losses(), _made(entry, one)
    valued = all(lot.valued for lot in lots)
    found = _shared(entry, one, [gross for _, gross, _ in made], lost)
    losses = [
        Lose(loss.cause, loss.gross_mg, fine(metals, valued), loss.words)
        for loss, metals in zip(lost, found.losses, strict=True)
    ]
    outputs = [
        Make(form, gross, fine(metals, valued), weighed=weighed)
        for (form, gross, weighed), metals in zip(made, found.parts, strict=True)
    ]
    scale = entry.form.cleaned_data["scale"]
    before = {
        lot.number: Weighed(scale, row.cleaned_data["before"])
        for lot, row in zip(lots, entry.filled("in"), strict=True)
        if row.cleaned_data.get("before")
    }
    return record_step(
        kind=one.kind,
        inputs=entry.takes(),
        additions=tuple(row.add() for row in entry.filled("add")),
        outputs=outputs,
        losses=tuple(losses),
        place=entry.form.cleaned_data["place"],
        weighed_in=before,
        **entry.head(),
    )


def _made(entry: BarEntry, one: Work) -> list[tuple[Form, int, Weighed | None]]:
    """What comes out: form, gross in milligrams, and how that was weighed (a piece left unweighed keeps its own)."""
    scale = entry.form.cleaned_data["scale"]
    made = []
    if one.each:
        for row, lot in zip(entry.filled("in"), entry.lots_in(), strict=True):
            weighed = row.weighed_on(scale)
            made.append((Form(lot.form), weighed.net_mg if weighed else lot.gross_mg, weighed))
    for row in entry.filled("out"):
        weighed = row.weighed_on(scale)
        made.append((one.makes, weighed.net_mg, weighed))
    for row in entry.filled("rest"):
        weighed = row.weighed_on(scale)
        if weighed is None:
            raise Refused("Weigh what goes back to stock, or clear its row.", field="outputs")
        made.append((Form(row.cleaned_data["form"]), weighed.net_mg, weighed))
    return made


def _shared(entry: BarEntry, one: Work, made: list[int], lost: list[Lose]) -> Followed:
    """The metals of what comes out and of the losses, by their weights; what is lost of a melt says its own metals."""
    lots, losses = entry.lots_in(), [loss.gross_mg for loss in lost]
    if one.each:
        pieces = [Piece(lot.gross_mg, lot.metals_mg, after) for lot, after in zip(lots, made[: len(lots)], strict=True)]
        return follow_each(pieces, made[len(lots) :], losses)
    gross, *metals = total(line.columns_mg for line in entry.going_in())
    if one.kind is not Kind.CAST_STRIP:
        return follow(gross, metals, made, losses)
    gone = [tuple(loss.fine_mg.get(metal, 0) for metal in METALS) for loss in lost]
    gross += sum(row.cleaned_data["gross"] for row in entry.filled("add")) - sum(losses)
    left = [mg - sum(row[i] for row in gone) for i, mg in enumerate(metals)]
    return Followed(follow(gross, left, made, []).parts, tuple(gone))
