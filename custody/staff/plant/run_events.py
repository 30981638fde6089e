"""What leaves a run: products by the scale or the litre, into lots or straight into the next vessel; its finish."""

from collections.abc import Sequence

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render

from custody.actions._post import Posted
from custody.actions.runs import Into, draw_from
from custody.actions.work import Add, ForOrder, Lose, Make, Take
from custody.calc.balance import total
from custody.calc.mass import plain_grams
from custody.calc.provisional import expected_mg
from custody.calc.recipes import recipe_for
from custody.calc.rules import rule_for
from custody.calc.runs import follows
from custody.calc.safety import cautions_for
from custody.models import Lot
from custody.queries import plant, runs, tanks
from custody.roles import Verb
from custody.staff.entry import Entry, place_choices, sent_before
from custody.staff.lines import AdditionRows, FixedLotRows, Lines, LossRows
from custody.staff.plant.run_forms import CarriedRows, OutForm, ProductRows
from custody.staff.plant.runs import LosingTable, yield_panel
from custody.terms import COLUMNS, METALS, Addition, Cause, Form, Kind, PlaceKind
from custody.web.access import needs
from custody.web.weighing import weighing_kwargs


@needs(Verb.REFINE)
def draw(request: HttpRequest, number: str) -> HttpResponse:
    """Products leave the vessel, each with its gross and the metals it is said to hold; the rest stays."""
    before = sent_before(request)
    if before:
        return before
    content = get_object_or_404(_open(request), run__number=number)
    options = _outputs(request, content)
    sent = _offered(request.POST, content, options) if request.method == "POST" else None
    rows = {
        "in": _content_rows(sent, content),
        "out": ProductRows(sent, prefix="out", initial=_laid_out(content), form_kwargs=options),
    }
    entry = Entry(request, _form(request, sent, content), rows)
    done = entry.record(lambda: _draw(entry, content), "The draw")
    if done:
        return done
    return render(request, "staff/plant/draw.html", _context(entry, content, columns=COLUMNS))


@needs(Verb.REFINE)
def finish(request: HttpRequest, number: str) -> HttpResponse:
    """The vessel is empty: what the book still holds is declared by cause, or carried to another lot or vessel."""
    before = sent_before(request)
    if before:
        return before
    content = get_object_or_404(_open(request), run__number=number)
    options = _outputs(request, content)
    rule = rule_for(Kind.FINISH)
    sent = _left_over(request.POST, content, options) if request.method == "POST" else None
    carried = [{"form": Form.SOLUTION, "density": _density(content)}]
    rows = {
        "in": _content_rows(sent, content),
        "add": AdditionRows(sent, prefix="add", form_kwargs={"additions": rule.additions}),
        "out": CarriedRows(sent, prefix="out", initial=carried, form_kwargs=options),
        "loss": LossRows(sent, prefix="loss", initial=[{"cause": Cause.FILTER}], form_kwargs={"causes": rule.causes}),
    }
    entry = Entry(request, _form(request, sent, content), rows)
    done = entry.record(lambda: _finish(entry, content), "The finish")
    if done:
        return done
    found = runs.outlook(content.run)
    context = _context(
        entry,
        content,
        balance_columns=COLUMNS,
        losing=LosingTable(runs.losing(content)),
        outlook=yield_panel(found, content.run.step) if found else None,
    )
    return render(request, "staff/plant/finish.html", context)


def _draw(entry: Entry, content: Lot) -> Posted:
    """Takes what was named; metal that the book lacks is posted as a difference, gross as unweighed water or gas.

    The vessel keeps at least the mass of the metals that stay in it: a product heavier than that leaves was not all
    weighed into the vessel.
    """
    makes, into = _makes(entry)
    named = total((make.gross_mg, *(make.fine_mg.get(metal, 0) for metal in METALS)) for make in makes)
    metals = [min(book, mg) for book, mg in zip(content.metals_mg, named[1:], strict=True)]
    staying = sum(content.metals_mg) - sum(metals)
    taken = [min(named[0], content.gross_mg - staying), *metals]
    over = [mg - held for mg, held in zip(named, taken, strict=True)]
    gains = (Lose(Cause.DIFFERENCE, 0, {m: -mg for m, mg in _fine(over[1:]).items()}),) if any(over[1:]) else ()
    return draw_from(
        kind=Kind.DRAW,
        content=content,
        take=Take(content.number, taken[0], dict(zip(METALS, taken[1:], strict=True))),
        additions=(Add(Addition.UNWEIGHED, over[0]),) if over[0] else (),
        outputs=makes,
        into=into,
        losses=gains,
        place=entry.form.cleaned_data["place"],
        for_order=_order_of(content),
        **entry.head(),
    )


def _finish(entry: Entry, content: Lot) -> Posted:
    makes, into = _makes(entry)
    return draw_from(
        kind=Kind.FINISH,
        content=content,
        take=Take(content.number),
        additions=tuple(row.add() for row in entry.rows["add"].filled),
        outputs=makes,
        into=into,
        losses=tuple(row.lose() for row in entry.rows["loss"].filled),
        place=entry.form.cleaned_data["place"],
        for_order=_order_of(content),
        **entry.head(),
    )


def _makes(entry: Entry) -> tuple[list[Make], dict[int, Into]]:
    said, rows = entry.form.cleaned_data, entry.rows["out"].filled
    onward = {number: row.onward(said["onward"]) for number, row in enumerate(rows)}
    return [row.make(said["scale"]) for row in rows], {number: into for number, into in onward.items() if into}


def _offered(sent: QueryDict, content: Lot, options: dict) -> QueryDict:
    """What was sent; asked for an offer, with provisional metals in every product that has a gross and no metals."""
    if "offer" not in sent:
        return sent
    filled = sent.copy()
    left = list(content.columns_mg)
    for row in ProductRows(sent, prefix="out", form_kwargs=options).forms:
        row.is_valid()
        said = row.cleaned_data
        if not said.get("gross") or not said.get("form"):
            continue
        gross = said["gross"] - (said.get("tare") or 0)
        metals = [said.get(metal) or 0 for metal in METALS]
        if not any(row[metal].data for metal in METALS):
            metals = list(expected_mg(Form(said["form"]), gross, left, Kind(content.run.step)))
            for metal, mg in zip(METALS, metals, strict=True):
                filled[row.add_prefix(metal)] = plain_grams(mg) if mg else ""
        left = [max(mg - out, 0) for mg, out in zip(left, (gross, *metals), strict=True)]
        left[0] = max(left[0], sum(left[1:]))  # a content never weighs less than its metals, whatever was typed
    return filled


def _left_over(sent: QueryDict, content: Lot, options: dict) -> QueryDict:
    """What was sent; asked for an offer, the last lot without metals takes all that is left, the others as drawn."""
    if "offer" not in sent:
        return sent
    filled = sent.copy()
    rows = [row for row in CarriedRows(sent, prefix="out", form_kwargs=options).forms if row.is_valid() and row.filled]
    lost = LossRows(sent, prefix="loss", form_kwargs={"causes": rule_for(Kind.FINISH).causes})
    lost.is_valid()
    left = [mg - sum(row.cleaned_data.get(metal) or 0 for row in lost.forms if hasattr(row, "cleaned_data"))
            for metal, mg in zip(METALS, content.metals_mg, strict=True)]  # fmt: skip
    left = [max(mg - sum(row.fine_mg.get(metal, 0) for row in rows), 0)
            for metal, mg in zip(METALS, left, strict=True)]  # fmt: skip
    blank = [row for row in rows if not row.fine_mg]
    for row in blank:
        said = row.cleaned_data
        gross = said["gross"] - (said.get("tare") or 0)
        metals = tuple(left)
        if row is not blank[-1] or sum(left) > gross:
            metals = expected_mg(Form(said["form"]), gross, (max(sum(left), gross), *left), Kind(content.run.step))
        for metal, mg in zip(METALS, metals, strict=True):
            filled[row.add_prefix(metal)] = plain_grams(mg) if mg else ""
        left = [mg - out for mg, out in zip(left, metals, strict=True)]
    return filled


def _laid_out(content: Lot) -> list[dict]:
    """The products that the step usually gives; a solution with the density of its last assay."""
    density = _density(content)
    made = recipe_for(Kind(content.run.step)).makes
    return [{"form": out.form} | ({"density": density} if out.form is Form.SOLUTION else {}) for out in made]


def _density(content: Lot) -> int | None:
    assay = tanks.volume_of(content).assay
    return assay.density_mg_ml if assay else None


def _form(request: HttpRequest, sent: QueryDict | None, content: Lot) -> OutForm:
    return OutForm(sent, follows=follows(content.run.step), **weighing_kwargs(request.user))


def _context(entry: Entry, content: Lot, **more) -> dict:
    step = content.run.step
    return entry.context(content=content, step=step, cautions=cautions_for(Kind(step)), **more)


def _open(request: HttpRequest) -> QuerySet[Lot]:
    return plant.content_of_run(request.user).filter(run__finished_by=None, gross_mg__gt=0)


def _content_rows(sent: QueryDict | None, content: Lot) -> Lines:
    rows = FixedLotRows(sent, prefix="in", initial=[{"lot": content.number}])
    rows.title, rows.row_word = "In the vessel, by the book", "content"
    return rows


def _outputs(request: HttpRequest, content: Lot) -> dict:
    vessels = plant.places(PlaceKind.VESSEL).exclude(pk=content.place_id).select_related("vessel__overflows_to")
    scales = weighing_kwargs(request.user)["scales"]
    recipe = recipe_for(Kind(content.run.step))
    held = [metal for metal, mg in zip(METALS, content.metals_mg, strict=True) if mg]
    told = {"places": place_choices(), "vessels": list(vessels), "scales": scales}
    return told | {"recipe": recipe, "held": held}


def _order_of(content: Lot) -> ForOrder | None:
    work = runs.work_of(content.run)
    return ForOrder(work.order, work.station) if work else None


def _fine(metals: Sequence[int]) -> dict[str, int]:
    return {metal: mg for metal, mg in zip(METALS, metals, strict=True) if mg}
