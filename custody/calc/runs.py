"""What a run asks for and comes to: reagents for its metals, the step that follows, its yield, what it may lose.

Advice for whoever charges, draws or finishes: the book takes what they weigh. Common practice.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from custody.calc.charge import Practice, Reagent, charge_of
from custody.calc.route import Step
from custody.calc.rules import Rule
from custody.terms import COLUMNS, PPM, PRECIOUS, Form, Kind

#: Which step usually goes on with the liquor of a run.
_FOLLOWS = {
    Kind.PART: Kind.CEMENT_SILVER,
    Kind.DISSOLVE: Kind.FILTER,
    Kind.FILTER: Kind.PRECIPITATE,
    Kind.PRECIPITATE: Kind.CEMENT_COPPER,
    Kind.CEMENT_SILVER: Kind.CEMENT_COPPER,
    Kind.CEMENT_COPPER: Kind.NEUTRALISE,
    Kind.ELECTROLYSE_SILVER: Kind.CEMENT_COPPER,
    Kind.ELECTROLYSE_GOLD: Kind.PRECIPITATE,
}
_STATION = {Kind.PART: Step.PART, Kind.DISSOLVE: Step.AQUA_REGIA, Kind.PRECIPITATE: Step.PRECIPITATE}


def follows(step: str) -> Kind:
    """The step that usually goes on with the liquor of a run."""
    return _FOLLOWS.get(Kind(step), Kind.NEUTRALISE)


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
            return "a reason, signed"
        return "a reason" if self.held_mg > self.band_mg else "nothing more"


def losing_of(rule: Rule, charged_mg: Sequence[int], held_mg: Sequence[int]) -> tuple[Losing, ...]:
    """For each precious metal that was charged or is held, what the rule lets a finish lose; columns in milligrams."""
    found = []
    for column, metal in enumerate(PRECIOUS, start=1):
        if charged_mg[column] or held_mg[column]:
            band, tolerance = (
                max(rule.grace_mg, charged_mg[column] * ppm // PPM) for ppm in (rule.band_ppm, rule.tolerance_ppm)
            )
            found.append(Losing(metal, held_mg[column], band, tolerance))
    return tuple(found)
