"""The page of every dry, wet and cold step, laid out by its recipe. Melt on receipt is the sampler's."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render

from custody.actions._post import Posted
from custody.actions.weigh import Weighed
from custody.actions.work import record_step
from custody.calc.mass import format_grams, plain_grams
from custody.calc.recipes import RECIPES, Out, Product, Recipe, proposed_mg, recipe_for, stations_of
from custody.calc.rules import rule_for
from custody.calc.safety import cautions_for
from custody.errors import Refusal
from custody.models import Lot, User
from custody.queries.handovers import compare
from custody.roles import Verb
from custody.staff.entry import Entry, StepForm, allow, place_choices, sent_before
from custody.staff.lines import AdditionRows
from custody.staff.plant import fitting
from custody.staff.plant.addresses import address_of, own_page, slug_of
from custody.staff.plant.order_field import OrderField
from custody.staff.plant.step_rows import BY_VOLUME, NoOutRows, StepInRows, StepLossRows, StepOutRows
from custody.staff.plant.usual import usual_of
from custody.terms import COLUMNS, METALS, Addition, Cause, Form, Kind
from custody.web.access import needs
from custody.web.lot_field import lots_by_code
from custody.web.weighing import weighing_kwargs

WORKERS = (Verb.MELT, Verb.REFINE, Verb.CAST, Verb.WEIGH)

#: A whole dissolution known from beginning to end, recorded as one step.
BATCH = replace(
    recipe_for(Kind.DISSOLVE),
    title="Refine a batch",
    sentence="Several lots are dissolved and come out as gold sand, silver chloride, residue and solution, in one"
    " operation. To record it as it goes, charge a vessel instead.",
    makes=(Out(Form.GOLD_SAND, ("Au",)), Out(Form.SILVER_CHLORIDE, ("Ag",)), Out(Form.RESIDUE), Out(Form.SOLUTION)),
    adds=(Addition.ACID, Addition.WATER, Addition.REAGENT),
    loses=(Cause.FUME, Cause.FILTER),
)


class RecipeForm(StepForm):
    """What a step says beside its lines, and the order that it is work on."""

    order = OrderField()
    field_order = ("order", "place", "at", "reason")


@needs(*WORKERS)
def step(request: HttpRequest, slug: str) -> HttpResponse:
    """Any step of the plant but those that have pages of their own, to which it leads."""
    kind = _kind_of(slug)
    if own_page(kind):
        return redirect(address_of(kind, request.GET.getlist("lot")))
    return _page(request, recipe_for(kind), "the step")


@needs(Verb.REFINE)
def batch(request: HttpRequest) -> HttpResponse:
    """A whole batch, known from beginning to end, in one operation."""
    return _page(request, BATCH, "the batch")


def _kind_of(slug: str) -> Kind:
    for kind in RECIPES:
        if slug == slug_of(kind):
            return kind
    raise Http404("There is no such step.")


def _page(request: HttpRequest, recipe: Recipe, verb: str) -> HttpResponse:
    allow(request.user, recipe.kind)
    before = sent_before(request)  # first of all: the order that this very form finished is offered no more
    if before:
        return before
    sent = _with_another_lot(request.POST) if request.method == "POST" else None
    entry = _entry(request, recipe, sent)
    if entry.asks == "offer":
        entry = _entry(request, recipe, _with_metals(entry, recipe, sent))
    done = entry.record(lambda: _record(entry, recipe), recipe.title)
    if done:
        return done
    named = list(entry.lots.values())
    context = entry.context(
        recipe=recipe,
        verb=verb,
        cautions=cautions_for(recipe.kind),
        balance_columns=COLUMNS,
        usual=usual_of(rule_for(recipe.kind)),
        fits=fitting.fitting_lots(recipe, request.user, named),
        odd=_odd(named, recipe),
    )
    if fitting.of_inquartation(recipe):
        rows = [line.columns_mg for line in entry.going_in()]
        context["silver"] = fitting.silver_wanted(rows, request.user, named)
    return render(request, "staff/plant/step.html", context)


@dataclass(frozen=True, slots=True)
class _Named:
    """Lots that a page's rows name, by the codes that name them, and the metals of account in them."""

    lots: dict[str, Lot]
    metals: tuple[str, ...]


def _named(codes: Sequence[str], viewer: User) -> _Named:
    lots = lots_by_code(codes, viewer)
    held = (metal for place, metal in enumerate(METALS) if any(lot.metals_mg[place] for lot in lots.values()))
    return _Named(lots, tuple(held))


def _entry(request: HttpRequest, recipe: Recipe, sent: QueryDict | None) -> Entry:
    rule, weighs = rule_for(recipe.kind), weighing_kwargs(request.user)
    first = [{"lot": lot} for lot in request.GET.getlist("lot")]
    rows = {"in": StepInRows(sent, prefix="in", initial=first, form_kwargs=weighs)}
    named = _named([str(row["lot"].value() or "") for row in rows["in"].forms], request.user)
    if rule.additions:
        added = [{"what": what.value} for what in recipe.adds]
        rows["add"] = AdditionRows(sent, prefix="add", initial=added, form_kwargs={"additions": rule.additions})
    made = weighs | {"recipe": recipe, "held": named.metals, "places": place_choices()}
    makes = [{"form": out.form.value} for out in recipe.makes]
    out_rows = StepOutRows if recipe.makes else NoOutRows
    rows["out"] = out_rows(sent, prefix="out", initial=makes, form_kwargs=made)
    loses = [{"cause": cause.value} for cause in recipe.loses]
    lost = {"causes": rule.causes, "held": named.metals}
    rows["loss"] = StepLossRows(sent, prefix="loss", initial=loses, form_kwargs=lost)
    form = RecipeForm(sent)
    form.fields["order"].offer(
        stations_of(recipe.kind), request.user, number=request.GET.get("order", ""), lots=named.lots.values()
    )
    return Entry(request, form, rows)


def _with_another_lot(sent: QueryDict) -> QueryDict:
    """What was sent; asked to take a lot, with it in the first blank row of the lots in, or in a row of its own."""
    if "take" not in sent:
        return sent
    filled = sent.copy()
    count = sent.get("in-TOTAL_FORMS", "0")
    rows = int(count) if count.isascii() and count.isdigit() and len(count) < 4 else 0
    row = next((number for number in range(rows) if not sent.get(f"in-{number}-lot", "").strip()), rows)
    filled["in-TOTAL_FORMS"] = str(max(rows, row + 1))
    for name, value in fitting.asked_for(sent["take"]).items():
        filled[f"in-{row}-{name}"] = value
    return filled


def _with_metals(entry: Entry, recipe: Recipe, sent: QueryDict) -> QueryDict:
    """What was sent, with proposed metals in every lot out that has a weight and names no metals yet."""
    rows = [row for row in entry.rows["out"].filled if row.cleaned_data.get("gross") and row.cleaned_data.get("form")]
    products = []
    for row in rows:
        named = tuple(row.cleaned_data.get(metal) or 0 for metal in METALS)
        blank = not any(row[metal].data for metal in METALS)
        products.append(Product(Form(row.cleaned_data["form"]), row.net_mg, None if blank else named))
    lost = [0] * len(METALS)
    for row in entry.rows["loss"].filled:
        lost = [mg + (row.cleaned_data.get(metal) or 0) for mg, metal in zip(lost, METALS, strict=True)]
    going_in = entry.context()["total_in"]
    filled = sent.copy()
    for row, product, metals in zip(rows, products, proposed_mg(recipe, going_in, lost, products), strict=True):
        if product.named_mg is None:
            for metal, mg in zip(METALS, metals, strict=True):
                filled[row.add_prefix(metal)] = plain_grams(mg) if mg else ""
    return filled


def _odd(lots: Sequence[Lot], recipe: Recipe) -> list[Lot]:
    """Lots of a form that this step does not usually take."""
    return list({lot.pk: lot for lot in lots if Form(lot.form) not in recipe.takes}.values())


def _record(entry: Entry, recipe: Recipe) -> Posted:
    lots = list(entry.lots.values())
    _refuse_nonsense(lots, recipe)
    made = entry.rows["out"].filled
    reason = entry.form.cleaned_data["reason"]
    if not reason and any(not row.told and row.cleaned_data["form"] not in BY_VOLUME for row in made):
        said = "Weigh every lot out and choose its scale, or write here how its weight is known."
        raise Refusal(said).at("reason")
    posted = record_step(
        kind=recipe.kind,
        inputs=[row.take(entry.lots) for row in entry.rows["in"].filled],
        additions=tuple(row.add() for row in entry.rows["add"].filled) if "add" in entry.rows else (),
        outputs=[row.make() for row in made],
        losses=tuple(row.lose() for row in entry.rows["loss"].filled),
        place=entry.form.cleaned_data["place"],
        weighed_in=_weighed_again(entry),
        for_order=entry.form.fields["order"].for_order(entry.form.cleaned_data["order"]),
        **entry.head(),
    )
    for lot in _odd(lots, recipe):
        messages.warning(
            entry.request, f"Lot {lot.number} is {lot.get_form_display()}: not what this step usually takes."
        )
    return posted


def _refuse_nonsense(lots: Sequence[Lot], recipe: Recipe) -> None:
    """Turns away a lot of a form on which this step can't be done."""
    for lot in lots:
        if Form(lot.form) in recipe.never:
            usual = ", ".join(form.label for form in recipe.takes[:4])
            raise Refusal(
                f"Lot {lot.number} is {lot.get_form_display()}: this step ({recipe.kind.label}) can't be done with it."
                f" It usually takes {usual}.",
                lot=lot.number,
            )


def _weighed_again(entry: Entry) -> dict[str, Weighed]:
    """Lots in that were weighed again, by number. A difference that the scales do not explain needs the reason."""
    rows = {row.take(entry.lots).lot: row for row in entry.rows["in"].filled if row.cleaned_data.get("gross")}
    weighed = {number: row.weighed for number, row in rows.items()}
    lots = {lot.number: lot for lot in entry.lots.values()}
    known = {
        lots[number]: (rows[number].scales[one.scale], one.net_mg) for number, one in weighed.items() if number in lots
    }
    for number, found in compare(known).items():
        if not found.explained and not entry.form.cleaned_data["reason"]:
            off = format_grams(abs(found.difference_mg))
            more = "more" if found.difference_mg > 0 else "less"
            raise Refusal(
                f"Lot {number} weighs {off} g {more} than the book, more than the scales may be off. Weigh it again;"
                " if it stays, write the reason.",
                lot=number,
            )
    return weighed
