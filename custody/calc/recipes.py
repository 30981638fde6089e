"""What each step of the plant usually takes and makes: the table from which its page is laid out. Common practice.

Nothing here is a promise of the book; what a step may lose and add is the table in calc/rules.py. A lot of a form that
a step does not usually take is told of; one that makes no sense in it (``never``) is refused at the desk.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from custody.calc.apportion import largest_remainder
from custody.calc.provisional import expected_mg
from custody.calc.route import Step
from custody.terms import METALS, Addition, Cause, Form, Kind

_RAW = (Form.DORE, Form.SCRAP, Form.JEWELLERY, Form.NUGGETS, Form.COIN, Form.INDUSTRIAL)
_METAL = (*_RAW, Form.MELT, Form.GRANULES, Form.BAR, Form.STRIP, Form.BLANK, Form.SKELETON, Form.FILINGS, Form.ANODE)
_SANDS = (Form.GOLD_SAND, Form.SILVER_SAND, Form.CEMENT_COPPER, Form.CATHODE)
_LEFT_OVER = (Form.SLAG, Form.SWEEPS, Form.SWEEPINGS, Form.CRUCIBLE, Form.FILTER, Form.LINING, Form.CAKE, Form.SLIMES)
_WET = (Form.SILVER_CHLORIDE, Form.RESIDUE, Form.SOLUTION)
_NOT_FOR_HAMMERS = frozenset({*_LEFT_OVER, *_WET, *_SANDS, Form.FILINGS})
_NOT_FOR_FIRE = frozenset({Form.SOLUTION})
_NO_LIQUOR = frozenset({*_METAL, Form.CRUCIBLE, Form.LINING})


@dataclass(frozen=True, slots=True)
class Out:
    """A lot that a step usually makes, and the metals that it is expected to hold."""

    form: Form
    holds: tuple[str, ...] = METALS


@dataclass(frozen=True, slots=True)
class Recipe:
    """One kind of step as its page lays it out. ``stations`` are those of a route at which it is the work to do."""

    kind: Kind
    title: str
    sentence: str
    takes: tuple[Form, ...]
    makes: tuple[Out, ...]
    adds: tuple[Addition, ...] = ()
    loses: tuple[Cause, ...] = ()
    stations: tuple[Step, ...] = ()
    never: frozenset[Form] = frozenset()

    @property
    def metals(self) -> tuple[str, ...]:
        """The metals of account that its products hold."""
        return tuple(metal for metal in METALS if any(metal in out.holds for out in self.makes))

    def shown(self, form: Form) -> tuple[str, ...]:
        """The metals that a line of this form usually names; all that the step moves for an unusual form."""
        return next((out.holds for out in self.makes if out.form is form), self.metals)


_FLUX, _FUME = (Addition.FLUX,), (Cause.FUME,)
_SLAG = Out(Form.SLAG, ())
_GOLD, _SILVER, _COPPER = ("Au",), ("Ag",), ("Cu",)
_DISSOLVED = ("Au", "Pt", "Pd", "Cu")

_ROWS = (
    Recipe(
        Kind.MELT, "Melt", "Valued lots become one melt; what the flux took up is weighed as slag.",
        (*_RAW, *_SANDS, Form.MELT, Form.GRANULES, Form.BAR, Form.SKELETON, Form.FILINGS, Form.STRIP, Form.BLANK),
        (Out(Form.MELT), _SLAG), _FLUX, _FUME, (Step.MELT, Step.SILVER_CELL, Step.CRUST), _NOT_FOR_FIRE,
    ),
    Recipe(
        Kind.GRANULATE, "Granulate", "Liquid metal is poured into water, so that acid gets at it.",
        (*_RAW, Form.MELT), (Out(Form.GRANULES), _SLAG), _FLUX, _FUME,
        (Step.INQUART, Step.PART, Step.CRUST, Step.AQUA_REGIA), _NOT_FOR_FIRE,
    ),
    Recipe(
        Kind.INQUART, "Inquart with silver",
        "Silver is melted in until gold is about a quarter of the metal; nitric acid then parts it.",
        (*_RAW, Form.MELT, Form.GRANULES, Form.SILVER_SAND, Form.CATHODE), (Out(Form.GRANULES), _SLAG), _FLUX, _FUME,
        (Step.INQUART,), _NOT_FOR_FIRE,
    ),
    Recipe(
        Kind.PART, "Part with nitric acid", "Silver and copper dissolve; gold stays as residue.",
        (Form.GRANULES, Form.MELT, Form.FILINGS),
        (Out(Form.RESIDUE, ("Au", "Pt")), Out(Form.SOLUTION, ("Ag", "Pd", "Cu"))),
        (Addition.ACID, Addition.WATER), _FUME, (Step.PART,),
        frozenset({Form.SOLUTION, Form.SILVER_CHLORIDE, Form.CAKE, Form.LINING, Form.CRUCIBLE}),
    ),
    Recipe(
        Kind.DISSOLVE, "Dissolve in aqua regia", "Gold goes into solution; silver stays behind as chloride.",
        (Form.GRANULES, Form.RESIDUE, Form.GOLD_SAND, Form.FILINGS, Form.MELT, *_RAW),
        (Out(Form.SOLUTION, _DISSOLVED), Out(Form.SILVER_CHLORIDE, _SILVER), Out(Form.RESIDUE)),
        (Addition.ACID, Addition.WATER), _FUME, (Step.AQUA_REGIA, Step.CRUST), frozenset({Form.SILVER_CHLORIDE}),
    ),
    Recipe(
        Kind.FILTER, "Filter silver chloride", "The chloride stays on the filter; the clear liquor goes on.",
        (Form.SOLUTION, Form.SILVER_CHLORIDE), (Out(Form.SILVER_CHLORIDE, _SILVER), Out(Form.SOLUTION, _DISSOLVED)),
        (Addition.WATER, Addition.REAGENT), (Cause.FILTER,), (Step.AQUA_REGIA, Step.PART, Step.CRUST), _NO_LIQUOR,
    ),
    Recipe(
        Kind.PRECIPITATE, "Precipitate gold", "A reductant drops the gold as sand; the rest stays in the liquor.",
        (Form.SOLUTION,), (Out(Form.GOLD_SAND, _GOLD), Out(Form.SOLUTION, ("Ag", "Pt", "Pd", "Cu"))),
        (Addition.REAGENT, Addition.WATER), _FUME, (Step.PRECIPITATE,), _NO_LIQUOR,
    ),
    Recipe(
        Kind.WASH, "Filter and wash", "A wet product is washed clean; the washings are kept.",
        (Form.GOLD_SAND, Form.SILVER_SAND, Form.SILVER_CHLORIDE, Form.RESIDUE, Form.CEMENT_COPPER, Form.CATHODE),
        (Out(Form.GOLD_SAND), Out(Form.SOLUTION, ())), (Addition.WATER, Addition.ACID), (Cause.FILTER,),
        (Step.PRECIPITATE, Step.PART), frozenset({*_RAW, Form.BAR, Form.MELT, Form.LINING}),
    ),
    Recipe(
        Kind.CEMENT_SILVER, "Cement silver", "Caustic and glucose reduce the chloride to silver sand.",
        (Form.SILVER_CHLORIDE, Form.SOLUTION), (Out(Form.SILVER_SAND, _SILVER), Out(Form.SOLUTION, ())),
        (Addition.REAGENT, Addition.WATER), (Cause.FILTER,), (Step.AQUA_REGIA, Step.PART), _NO_LIQUOR,
    ),
    Recipe(
        Kind.CAST_ANODES, "Melt and cast anodes", "Metal for a cell is cast into anodes.",
        (Form.GOLD_SAND, Form.SILVER_SAND, Form.MELT, Form.GRANULES, Form.SKELETON, Form.CATHODE, *_RAW),
        (Out(Form.ANODE), _SLAG), _FLUX, _FUME, (Step.GOLD_CELL, Step.SILVER_CELL), _NOT_FOR_FIRE,
    ),
    Recipe(
        Kind.ELECTROLYSE_SILVER, "Refine silver by electrolysis",
        "Silver goes from the anodes to the cathodes; gold and platinum metals fall as slimes.",
        (Form.ANODE, Form.SOLUTION),
        (Out(Form.CATHODE, _SILVER), Out(Form.SLIMES, ("Au", "Pt", "Pd")), Out(Form.ANODE), Out(Form.SOLUTION)),
        (Addition.ACID, Addition.WATER), _FUME, (Step.SILVER_CELL,),
        frozenset({Form.SILVER_CHLORIDE, *_LEFT_OVER} - {Form.SLIMES}),
    ),
    Recipe(
        Kind.ELECTROLYSE_GOLD, "Refine gold by electrolysis",
        "Gold goes from the anodes to the cathodes; silver falls as chloride slimes.",
        (Form.ANODE, Form.SOLUTION),
        (Out(Form.CATHODE, _GOLD), Out(Form.SLIMES, _SILVER), Out(Form.ANODE), Out(Form.SOLUTION)),
        (Addition.ACID, Addition.WATER), _FUME, (Step.GOLD_CELL,),
        frozenset({Form.SILVER_CHLORIDE, *_LEFT_OVER} - {Form.SLIMES}),
    ),
    Recipe(
        Kind.CEMENT_COPPER, "Cement copper", "Iron drops the copper, and what noble metal is left with it.",
        (Form.SOLUTION,), (Out(Form.CEMENT_COPPER), Out(Form.SOLUTION, ())), (Addition.REAGENT, Addition.WATER),
        (Cause.FILTER,), (), _NO_LIQUOR,
    ),
    Recipe(
        Kind.NEUTRALISE, "Neutralise and press cake", "Caustic drops the last metals; their cake is pressed.",
        (Form.SOLUTION,), (Out(Form.CAKE), Out(Form.SOLUTION, ())), (Addition.REAGENT, Addition.WATER),
        (Cause.FILTER,), (), _NO_LIQUOR,
    ),
    Recipe(
        Kind.DISCHARGE, "Discharge water", "Assayed water leaves the house; its metal is a declared loss.",
        (Form.SOLUTION,), (), (), (Cause.EFFLUENT,), (), frozenset(Form) - {Form.SOLUTION, Form.IN_PROCESS},
    ),
    Recipe(
        Kind.DRY, "Dry", "Water leaves, no metal does.",
        (*_SANDS, Form.SILVER_CHLORIDE, Form.RESIDUE, Form.CAKE, Form.SLIMES),
        (Out(Form.GOLD_SAND),), (), (Cause.MOISTURE,), (), frozenset({*_RAW, Form.BAR, Form.MELT, Form.SOLUTION}),
    ),
    Recipe(
        Kind.CAST_STRIP, "Cast strip", "Fine metal is cast into strip for rolling.",
        (*_SANDS, Form.MELT, Form.GRANULES, Form.SKELETON, Form.FILINGS, Form.BAR),
        (Out(Form.STRIP), _SLAG), _FLUX, _FUME, (Step.MELT,), _NOT_FOR_FIRE,
    ),
    Recipe(
        Kind.ROLL, "Roll", "Strip is rolled to the thickness of the blanks.", (Form.STRIP,),
        (Out(Form.STRIP), Out(Form.SKELETON)), (), (Cause.SWEEPINGS,), (Step.MELT,), _NOT_FOR_HAMMERS,
    ),
    Recipe(
        Kind.PUNCH, "Punch blanks", "Blanks are punched from strip; the skeleton returns to stock by weight.",
        (Form.STRIP,), (Out(Form.BLANK), Out(Form.SKELETON)), (), (Cause.SWEEPINGS,), (Step.MELT,), _NOT_FOR_HAMMERS,
    ),
    Recipe(
        Kind.ANNEAL, "Anneal", "Metal is heated soft and keeps its weight.", (Form.BLANK, Form.STRIP),
        (Out(Form.BLANK),), (), (), (Step.MELT,), _NOT_FOR_HAMMERS,
    ),
    Recipe(
        Kind.ADJUST, "Adjust by filing", "Pieces are filed down to their weight, never below it; filings are a lot.",
        (Form.BLANK, Form.BAR), (Out(Form.BLANK), Out(Form.FILINGS)), (), (), (Step.MELT,), _NOT_FOR_HAMMERS,
    ),
    Recipe(
        Kind.STAMP, "Stamp", "Each piece gets its mark and its serial, and is a bar from then on.", (Form.BLANK,),
        (Out(Form.BAR),), (), (), (Step.MELT,), _NOT_FOR_HAMMERS,
    ),
    Recipe(
        Kind.RECYCLE, "Recycle what is left over",
        "Slag, skeleton, filings, sweeps, crucibles, linings and filter cloths are melted for the metal in them.",
        (Form.SLAG, Form.SKELETON, Form.FILINGS, Form.SWEEPS, Form.SWEEPINGS, Form.CRUCIBLE, Form.FILTER, Form.LINING,
         Form.CAKE, Form.SLIMES, Form.RESIDUE),
        (Out(Form.MELT), _SLAG), _FLUX, _FUME, (), _NOT_FOR_FIRE,
    ),
    Recipe(
        Kind.CLEAN_OUT, "Clean out a furnace or a floor",
        "What is gathered was declared lost before. It is weighed, becomes a lot, and its assay says what was found.",
        (), (Out(Form.LINING, ()),), (), (Cause.LINING,),
    ),
)  # fmt: skip

RECIPES: dict[Kind, Recipe] = {row.kind: row for row in _ROWS}


def recipe_for(kind: Kind) -> Recipe:
    """The row of one kind of step. Raises ``KeyError`` for a kind that is no step of the plant."""
    return RECIPES[kind]


def fitting(forms: Collection[Form]) -> list[Kind]:
    """The steps that usually take every one of these forms, in the order of the table; none for no form."""
    return [row.kind for row in _ROWS if forms and all(form in row.takes for form in forms)]


def stations_of(kind: Kind) -> tuple[str, ...]:
    """The stations of a route at which this kind of step is the work to do; a cast is the last one's."""
    if kind in (Kind.CAST, Kind.DIVIDE):
        return (str(Step.MELT),)
    return tuple(str(step) for step in RECIPES[kind].stations) if kind in RECIPES else ()


@dataclass(frozen=True, slots=True)
class Product:
    """A lot out as it is typed so far: ``named_mg`` are its metals where somebody named them, else None."""

    form: Form
    gross_mg: int
    named_mg: tuple[int, ...] | None = None


def proposed_mg(
    recipe: Recipe, going_in_mg: Sequence[int], lost_mg: Sequence[int], products: Sequence[Product]
) -> list[tuple[int, ...]]:
    """Milligrams of Au, Ag, Pt, Pd, Cu to propose for each product; those that were named stay as they are.

    ``going_in_mg`` are gross and metals that go in, ``lost_mg`` the metals declared lost. Pure products (sands,
    chloride, cathodes) are served first, each with no more than it weighs (``provisional.expected_mg``); then whatever
    the recipe says a product holds goes by gross to those that hold it. Never more than there is.
    """
    left = [max(mg - lost, 0) for mg, lost in zip(going_in_mg[1:], lost_mg, strict=True)]
    found: list[list[int]] = [list(one.named_mg or (0,) * len(METALS)) for one in products]
    for metals in found:
        left = [max(mg - out, 0) for mg, out in zip(left, metals, strict=True)]
    blank = [number for number, one in enumerate(products) if one.named_mg is None]
    for number in [number for number in blank if _is_pure(products[number].form, recipe.kind)]:
        one = products[number]
        pure = expected_mg(one.form, one.gross_mg, (sum(left), *left), recipe.kind)
        found[number] = list(pure)
        left = [mg - out for mg, out in zip(left, pure, strict=True)]
        blank.remove(number)
    narrow = [number for number in blank if recipe.shown(products[number].form) != METALS]
    for numbers in (narrow, [number for number in blank if number not in narrow]):
        left = _share(recipe, products, found, numbers, left)
    return [tuple(metals) for metals in found]


_PURE = (Form.GOLD_SAND, Form.SILVER_SAND, Form.SILVER_CHLORIDE, Form.CEMENT_COPPER)


def _is_pure(form: Form, kind: Kind) -> bool:
    """Whether a product holds one metal; washed and dried it stays what it was, silver chloride even so."""
    if kind in (Kind.WASH, Kind.DRY, Kind.CEMENT_COPPER):
        return False
    return form in _PURE or (form is Form.CATHODE and kind in (Kind.ELECTROLYSE_GOLD, Kind.ELECTROLYSE_SILVER))


def _share(
    recipe: Recipe, products: Sequence[Product], found: list[list[int]], numbers: Iterable[int], left: list[int]
) -> list[int]:
    """Gives what is left of each metal to those products that hold it, by gross, none beyond its own weight."""
    numbers = list(numbers)
    for place, metal in enumerate(METALS):
        holding = [number for number in numbers if metal in recipe.shown(products[number].form)]
        room = [products[number].gross_mg - sum(found[number]) for number in holding]
        weights = [products[number].gross_mg for number in holding]
        if not holding or not left[place]:
            continue
        shares = largest_remainder(left[place], weights)
        for number, share, most in zip(holding, shares, room, strict=True):
            found[number][place] = min(share, most)
            left[place] -= found[number][place]
    return left
