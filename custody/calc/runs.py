"""What a run of each step usually takes and gives, and the reagents that the metals in it ask for (common practice).

Advice, laid out for whoever charges or draws: the book takes what they weigh.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from custody.calc.charge import Practice, Reagent, charge_of
from custody.calc.route import Step
from custody.calc.rules import Rule
from custody.terms import COLUMNS, PPM, Addition, Form, Kind


@dataclass(frozen=True, slots=True)
class Usual:
    """What usually goes into a run, in words; its additions, its products in their order, and the step that follows."""

    goes_in: str
    additions: tuple[Addition, ...]
    products: tuple[Form, ...]
    follows: Kind


_LIQUID = (Addition.ACID, Addition.WATER)
#: By step; cells have a page of their own.
USUAL: dict[Kind, Usual] = {
    Kind.PART: Usual(
        "Granules of about one part gold to three of silver and copper, and nitric acid.",
        _LIQUID, (Form.RESIDUE, Form.SOLUTION), Kind.CEMENT_SILVER),
    Kind.DISSOLVE: Usual(
        "Granules, residue of parting or gold sand, and hydrochloric with nitric acid.",
        _LIQUID, (Form.SOLUTION, Form.RESIDUE), Kind.FILTER),
    Kind.FILTER: Usual(
        "Aqua regia liquor, diluted cold, so that silver chloride falls out; the filter keeps it.",
        (Addition.WATER,), (Form.SILVER_CHLORIDE, Form.SOLUTION), Kind.PRECIPITATE),
    Kind.PRECIPITATE: Usual(
        "Filtered gold liquor, free of nitric acid, and metabisulfite.",
        (Addition.REAGENT, Addition.WATER), (Form.GOLD_SAND, Form.SOLUTION), Kind.CEMENT_COPPER),
    Kind.WASH: Usual(
        "Gold sand or silver chloride, and hot water or acid.",
        (Addition.WATER, Addition.ACID), (Form.GOLD_SAND, Form.SOLUTION), Kind.NEUTRALISE),
    Kind.CEMENT_SILVER: Usual(
        "Silver nitrate liquor, or silver chloride with water; then copper, or caustic and glucose.",
        (Addition.REAGENT, Addition.WATER), (Form.SILVER_SAND, Form.SOLUTION), Kind.CEMENT_COPPER),
    Kind.CEMENT_COPPER: Usual(
        "Liquor without gold and silver, and iron.",
        (Addition.REAGENT,), (Form.CEMENT_COPPER, Form.SOLUTION), Kind.NEUTRALISE),
    Kind.NEUTRALISE: Usual(
        "Spent liquor, and caustic until the meter says that the hydroxides have fallen out.",
        (Addition.REAGENT, Addition.WATER), (Form.CAKE, Form.SOLUTION), Kind.NEUTRALISE),
    Kind.DRY: Usual(
        "Wet sand, chloride or cake; water leaves by drying.", (), (Form.GOLD_SAND,), Kind.DISSOLVE),
}  # fmt: skip
_OTHER = Usual("Lots of this step, and what it takes.", _LIQUID, (Form.SOLUTION,), Kind.CEMENT_COPPER)

_STATION = {Kind.PART: Step.PART, Kind.DISSOLVE: Step.AQUA_REGIA, Kind.PRECIPITATE: Step.PRECIPITATE}


def usual_of(step: str) -> Usual:
    """What a run of a step usually takes and gives."""
    return USUAL.get(Kind(step), _OTHER)


def reagents_of(
    step: str, fine_mg: Mapping[str, int], *, forms: Iterable[str] = (), practice: Practice | None = None
) -> tuple[Reagent, ...]:
    """The reagents that a step asks for the fine metals (milligrams) charged; none where it goes by the meter.

    ``forms`` are those of the lots charged: silver that comes as chloride alone needs no salt first. Raises
    ``Refused`` for negative metal.
    """
    kind = Kind(step)
    if kind in _STATION:
        return charge_of([_STATION[kind]], fine_mg, practice=practice)[0].reagents
    metal = {Kind.CEMENT_SILVER: "Ag", Kind.CEMENT_COPPER: "Cu"}.get(kind)
    if metal is None:
        return ()
    dissolved = Step.AQUA_REGIA if set(forms) == {Form.SILVER_CHLORIDE} else Step.PART
    stages = charge_of([dissolved], {metal: fine_mg.get(metal, 0)}, practice=practice)[1:]
    return stages[0].reagents if stages else ()


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the rule of a run's step says of what was charged, drawn and is still in the vessel; milligrams."""

    metal: str
    charged_mg: int
    made_mg: int
    least_mg: int

    @property
    def yield_ppm(self) -> int:
        """Parts per million of the charged metal that the products hold so far."""
        return self.made_mg * PPM // self.charged_mg

    @property
    def reached(self) -> bool:
        """Whether the least yield is reached."""
        return self.made_mg >= self.least_mg


def outlook_of(rule: Rule, charged_mg: Sequence[int], made_mg: Sequence[int]) -> Outlook | None:
    """Yield so far beside the rule's least; ``None`` where the rule or the charge has nothing to yield.

    ``charged_mg`` and ``made_mg`` (the products in the rule's forms) are gross and metals.
    """
    if not rule.least_yield_ppm:
        return None
    column = COLUMNS.index(rule.product_metal)
    charged = charged_mg[column]
    if not charged:
        return None
    least = -(-charged * rule.least_yield_ppm // PPM)
    return Outlook(rule.product_metal, charged, made_mg[column], least)


@dataclass(frozen=True, slots=True)
class Losing:
    """How much of one metal a finish may declare lost or found: within the band, and past it with a signature; mg."""

    metal: str
    held_mg: int
    band_mg: int
    tolerance_mg: int

    @property
    def words(self) -> str:
        """What a finish that declared all of it lost would need."""
        if self.held_mg > self.tolerance_mg:
            return "a reason and a manager's countersignature"
        return "a reason" if self.held_mg > self.band_mg else "nothing more"


def losing_of(rule: Rule, charged_mg: Sequence[int], held_mg: Sequence[int]) -> tuple[Losing, ...]:
    """For each precious metal that was charged or is held, what the rule lets a finish lose; columns in milligrams."""
    found = []
    for column, metal in enumerate(COLUMNS[1:5], start=1):
        if charged_mg[column] or held_mg[column]:
            band, tolerance = (
                max(rule.grace_mg, charged_mg[column] * ppm // PPM) for ppm in (rule.band_ppm, rule.tolerance_ppm)
            )
            found.append(Losing(metal, held_mg[column], band, tolerance))
    return tuple(found)
