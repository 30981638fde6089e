"""Which way a feed is refined, by its accepted assay: advice with its reasons. A qualified person orders the route.

Limits are the plant's settings; the defaults are common practice. Silver closes over as chloride where there is much of
it in aqua regia: a published mint practice kept it under 50 per mille and found it hard above 100 (Rose, Metallurgy of
Gold, p. 489). Inquartation brings gold to about a quarter of the metal, so that nitric acid can part the silver.
"""

from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction

from custody.calc.fineness import format_percent
from custody.calc.refusals import Refused
from custody.terms import METALS, PPM, Term

#: What an assay of metals of account says nothing of, and what it does to a refining.
NOT_KNOWN = ("lead", "tellurium", "mercury", "platinum metals that were not assayed")


class Step(Term):
    """A station of a route."""

    INQUART = "inquartation with silver"
    PART = "nitric parting"
    AQUA_REGIA = "aqua regia"
    CRUST = "measures against a silver chloride crust"
    PRECIPITATE = "precipitation of gold"
    GOLD_CELL = "gold electrolysis"
    SILVER_CELL = "silver electrolysis"
    MELT = "melt and cast"


#: In which order the stations of a route are worked.
STATIONS = (
    Step.INQUART,
    Step.PART,
    Step.CRUST,
    Step.AQUA_REGIA,
    Step.PRECIPITATE,
    Step.GOLD_CELL,
    Step.SILVER_CELL,
    Step.MELT,
)


@dataclass(frozen=True, slots=True)
class Limits:
    """The plant's settings, ppm of the feed; ``gold_share`` is gold's part of the metal after inquartation."""

    least_gold_ppm: int = 650_000
    direct_silver_ppm: int = 100_000
    crust_silver_ppm: int = 180_000
    silver_feed_ppm: int = 900_000
    gold_share: Fraction = Fraction(1, 4)
    precipitated_ppm: int = 999_500

    def __post_init__(self) -> None:
        if not 0 <= self.direct_silver_ppm <= self.crust_silver_ppm <= PPM:
            raise Refused("Silver for aqua regia directly is at most what the crust allows.", field="direct_silver")
        if not 0 < self.gold_share < 1:
            raise Refused("Gold's share after inquartation lies between nothing and the whole.", field="gold_share")


@dataclass(frozen=True, slots=True)
class Advice:
    """The stations advised, why, and what is not known. ``silver_to_add_mg`` brings a feed to inquartation."""

    steps: tuple[Step, ...]
    reasons: tuple[str, ...]
    flags: tuple[str, ...]
    silver_to_add_mg: int = 0


def silver_for_inquartation_mg(fine_mg: dict[str, int], *, gold_share: Fraction = Fraction(1, 4)) -> int:
    """Milligrams of silver that make gold so much of all metal, rounded up; zero where there is enough.

    Gold over its share, less the metal that is there. Raises Refused for negative metal.
    """
    if min(fine_mg.values(), default=0) < 0:
        raise Refused("Metal is never less than nothing.", field="metal")
    exact = fine_mg.get("Au", 0) / gold_share - sum(fine_mg.values())
    return max(-(-exact.numerator // exact.denominator), 0)


def advise(
    gross_mg: int, fine_mg: dict[str, int], *, wanted_ppm: int = 999_500, limits: Limits | None = None
) -> Advice:
    """The route of a feed by its gross and fine metals (milligrams) to gold of ``wanted_ppm``.

    Raises Refused for an empty feed, and for more metal than gross.
    """
    limits = limits or Limits()
    if gross_mg <= 0 or sum(fine_mg.values()) > gross_mg or min(fine_mg.values(), default=0) < 0:
        raise Refused("A feed weighs more than nothing, and no less than its metals.", field="feed")
    gold, silver = (fine_mg.get(metal, 0) * PPM // gross_mg for metal in ("Au", "Ag"))
    flags = _flags(gold, fine_mg, gross_mg, limits)
    if silver >= limits.silver_feed_ppm:
        said = f"Silver is {_of(silver)}: the feed is silver, its gold stays in the anode slimes."
        return Advice((Step.MELT, Step.SILVER_CELL), (said,), flags)
    if gold >= wanted_ppm:
        said = f"Gold is {_of(gold)}, as fine as it is wanted: it is melted and cast as it is."
        return Advice((Step.MELT,), (said,), flags)
    steps, reasons, add = _dissolving(silver, fine_mg, limits)
    steps.append(Step.PRECIPITATE)
    if wanted_ppm > limits.precipitated_ppm:
        steps.append(Step.GOLD_CELL)
        reasons.append(f"Precipitation gives about {_of(limits.precipitated_ppm)}; more needs electrolysis.")
    return Advice((*steps, Step.MELT), tuple(reasons), flags, add)


def in_order(steps: Collection[Step], advised: Collection[Step]) -> tuple[Step, ...]:
    """Steps as they are worked: all the advised ones in the order of the advice, others by the order of stations.

    Raises Refused for no step at all.
    """
    if not steps:
        raise Refused("A route has at least one step.", field="steps")
    if set(steps) == set(advised):
        return tuple(advised)
    return tuple(station for station in STATIONS if station in steps)


def _dissolving(silver: int, fine_mg: dict[str, int], limits: Limits) -> tuple[list[Step], list[str], int]:
    if silver < limits.direct_silver_ppm:
        return [Step.AQUA_REGIA], [f"Silver is {_of(silver)}, under {_of(limits.direct_silver_ppm)}."], 0
    if silver <= limits.crust_silver_ppm:
        said = f"Silver is {_of(silver)}: its chloride closes over the metal; granulate fine, stir, draw the crust off."
        return [Step.CRUST, Step.AQUA_REGIA], [said], 0
    add = silver_for_inquartation_mg(fine_mg, gold_share=limits.gold_share)
    said = f"Silver is {_of(silver)}, over {_of(limits.crust_silver_ppm)}: aqua regia would not get through."
    first = [Step.INQUART, Step.PART] if add else [Step.PART]
    enough = "" if add else " There is silver enough to part without adding any."
    return [*first, Step.AQUA_REGIA], [said + enough], add


def _flags(gold: int, fine_mg: dict[str, int], gross_mg: int, limits: Limits) -> tuple[str, ...]:
    found = []
    if gold < limits.least_gold_ppm:
        found.append(f"Gold is {_of(gold)}, under {_of(limits.least_gold_ppm)}: much base metal takes acid and time.")
    for metal in ("Pt", "Pd"):
        if fine_mg.get(metal):
            found.append(f"{metal} is in it: it goes into the solution and spoils the gold unless it is watched.")
    rest = (gross_mg - sum(fine_mg.get(metal, 0) for metal in METALS)) * PPM // gross_mg
    if rest:
        found.append(f"{_of(rest)} is not assayed; it may hold {', '.join(NOT_KNOWN)}.")
    return tuple(found)


def _of(ppm: int) -> str:
    return f"{format_percent(ppm)} %"
