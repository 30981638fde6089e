"""What the density of a piece says about its gold: an indication, never a result.

Volumes of the metals are added: 1 / density = sum of share / density of each metal. Densities at 20 degrees in kg/m3
(the same number in mg/mL), from memory. Gold with copper is lighter than gold with silver, so that one density
stands for a range of finenesses; a hollow, a stone, zinc, nickel, platinum or tungsten deceives it altogether.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from custody.calc.refusals import Refused
from custody.terms import PPM

#: Densities of the metals in kg/m3, from memory.
METAL_DENSITY = {"Au": 19_320, "Ag": 10_490, "Cu": 8_960}

#: Density of water at 20 degrees in kg/m3, from memory. Four degrees more or less change it by a thousandth.
WATER = Fraction(9_982, 10)

#: An indication is given in whole per mille.
STEP_PPM = 1000

#: A weighing in water scatters by so much: fine gold that reads a little too dense is still gold.
SCATTER = Fraction(1, 100)


@dataclass(frozen=True, slots=True)
class Indication:
    """Gold between two finenesses, in ppm: if the rest is silver, and if it is copper. Never a determination."""

    low_ppm: int
    high_ppm: int


def density_of(in_air_mg: int, in_water_mg: int, *, water: Fraction = WATER) -> Fraction:
    """Density in kg/m3 from a piece's weight in air and hanging in water, both in milligrams (Archimedes).

    The buoyancy of air is neglected: less than a thousandth. Raises Refused unless the piece loses weight in water.
    """
    if not 0 <= in_water_mg < in_air_mg:
        raise Refused("A piece weighs less in water than in air. Check both weighings.", field="in water")
    return water * in_air_mg / (in_air_mg - in_water_mg)


def alloy_density(shares_ppm: Mapping[str, int]) -> Fraction:
    """Density in kg/m3 of an alloy of Au, Ag and Cu, in ppm that sum to the whole.

    Raises Refused for another metal, a negative share, and a sum other than 1000 per mille.
    """
    if not shares_ppm.keys() <= METAL_DENSITY.keys():
        raise Refused(f"Densities are kept for {', '.join(METAL_DENSITY)} only.", field="metal")
    if sum(shares_ppm.values()) != PPM or min(shares_ppm.values()) < 0:
        raise Refused("The shares of an alloy are zero or more, and sum to 1000 per mille.", field="fineness")
    return PPM / sum(Fraction(ppm, METAL_DENSITY[metal]) for metal, ppm in shares_ppm.items())


def gold_indicated(density: Fraction) -> Indication:
    """Which finenesses of gold a density in kg/m3 allows, rounded outwards to whole per mille.

    Raises Refused for a density more than a hundredth above gold's or below copper's: that is no sound piece of gold,
    silver and copper.
    """
    lightest, densest = METAL_DENSITY["Cu"], METAL_DENSITY["Au"]
    if not lightest * (1 - SCATTER) <= density <= densest * (1 + SCATTER):
        raise Refused(
            "No sound piece of gold, silver and copper has this density. Look for hollows, stones or another metal.",
            field="density",
        )
    density = min(max(density, Fraction(lightest)), Fraction(densest))
    with_silver, with_copper = (_gold_share(density, other) for other in ("Ag", "Cu"))
    low = max(with_silver, Fraction(0)) * PPM // STEP_PPM * STEP_PPM
    high = -(-min(with_copper, Fraction(1)) * PPM // STEP_PPM) * STEP_PPM
    return Indication(int(low), int(high))


def _gold_share(density: Fraction, other: str) -> Fraction:
    volume, of_other, of_gold = 1 / density, Fraction(1, METAL_DENSITY[other]), Fraction(1, METAL_DENSITY["Au"])
    return (of_other - volume) / (of_other - of_gold)
