"""Silver by difference, by titration with salt and as chloride: parts per million from raw weighings and volumes.

Masses are whole micrograms, volumes whole microlitres, results whole ppm rounded half to even once. Handbook: Beringer,
A Text-book of Assaying, 9th ed., London 1904. Silver by check pieces, p. 103-105, is ``assay.fire_assay``.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from fractions import Fraction

from custody.calc.refusals import Refused
from custody.calc.rounding import half_even
from custody.terms import PPM

#: What the strong salt solution is run in by, and what the weak one is thinned by (Gay-Lussac's method, p. 119).
STRONG_UL = 100_000
WEAK_IN_STRONG = 10

#: Deducted from the weak solution run in: the last millilitre showed nothing, the one before was half used (p. 120).
WEAK_EXCESS_UL = 1_500


class ChlorideFactor(Enum):
    """Silver in silver chloride by mass. Which one a result was worked out with is part of the result."""

    TODAY = Fraction(1_078_682, 1_078_682 + 354_500)
    HANDBOOK = Fraction(7_527, 10_000)

    @property
    def words(self) -> str:
        """The factor and where it is from, for the worksheet."""
        if self is ChlorideFactor.TODAY:
            return "0.752648 Ag in AgCl (conventional atomic weights: Ag 107.8682, Cl 35.45)"
        return "0.7527 Ag in AgCl (handbook of 1904)"


@dataclass(frozen=True, slots=True)
class SaltStandard:
    """One titration of pure silver: micrograms taken, their purity in ppm, microlitres of salt solution used."""

    silver_ug: int
    volume_ul: int
    purity_ppm: int = PPM

    def __post_init__(self) -> None:
        if self.volume_ul <= 0:
            raise Refused("The volume of a titration is more than zero.", field="volume")
        _pure_ug(self.silver_ug, self.purity_ppm)

    @property
    def factor(self) -> Fraction:
        """Micrograms of silver that one microlitre precipitates, exact."""
        return _pure_ug(self.silver_ug, self.purity_ppm) / self.volume_ul


def silver_by_difference_ppm(bead_ppm: int, gold_ppm: int, other_ppm: int = 0) -> int:
    """Silver as what a bead holds besides gold and ``other_ppm`` (platinum metals, base metal left), ppm of the sample.

    The bead is cupelled without added silver and corrected by its checks; gold is from the parted piece (Beringer,
    p. 147 and 157). Raises Refused when gold and the others are more than the bead.
    """
    if min(gold_ppm, other_ppm) < 0 or not 0 <= bead_ppm <= PPM:
        raise Refused("A fineness lies between 0 and 1000 per mille.", field="fineness")
    if gold_ppm + other_ppm > bead_ppm:
        raise Refused(
            "The bead holds less than the gold found in it. Check the weighings, or assay again.", field="bead"
        )
    return bead_ppm - gold_ppm - other_ppm


def silver_as_chloride_ppm(sample_ug: int, chloride_ug: int, factor: ChlorideFactor = ChlorideFactor.TODAY) -> int:
    """Silver from the weight of its chloride: chloride times factor over sample (Beringer, p. 117).

    Raises Refused for an empty sample, and for more silver than sample.
    """
    _refuse_empty(sample_ug)
    if chloride_ug < 0:
        raise Refused("Silver chloride never weighs less than zero.", field="chloride")
    return _ppm(factor.value * chloride_ug, sample_ug, field="chloride")


def strong_salt_ul(weak_ul: int, *, excess_ul: int = WEAK_EXCESS_UL) -> Fraction:
    """The strong salt solution that a silver took, in microlitres: 100 mL and a tenth of the weak one less the excess.

    Gay-Lussac's method (Beringer, p. 120). Raises Refused when less than the excess was run in: there was too little
    silver, and some must be added.
    """
    if weak_ul < excess_ul:
        raise Refused(
            "The weak salt solution showed no silver. Add silver, allow for it, and run in again.", field="weak"
        )
    return STRONG_UL + Fraction(weak_ul - excess_ul, WEAK_IN_STRONG)


def salt_strength_ug(silver_ug: int, weak_ul: int, *, purity_ppm: int = PPM) -> Fraction:
    """Micrograms of silver that 100 mL of the strong salt solution precipitate, exact, from a standard of pure silver.

    Raises Refused as ``strong_salt_ul`` and ``SaltStandard`` do.
    """
    return _pure_ug(silver_ug, purity_ppm) * STRONG_UL / strong_salt_ul(weak_ul)


def gay_lussac_ppm(strength_ug: Fraction, sample_ug: int, weak_ul: int, *, added_ug: int = 0) -> int:
    """Silver by Gay-Lussac's method: the strong solution used times its strength, over the sample.

    ``added_ug`` is silver that was put in because the first 100 mL were too much; it is taken off. Raises Refused for
    an empty sample, and for a result outside 0 to 1000 per mille.
    """
    _refuse_empty(sample_ug)
    silver = strength_ug * strong_salt_ul(weak_ul) / STRONG_UL - added_ug
    return _ppm(silver, sample_ug, field="weak")


def salt_factor(standards: Sequence[SaltStandard]) -> Fraction:
    """Micrograms of silver per microlitre of salt solution: the mean of the standards' factors, exact.

    Potentiometric titration with sodium chloride, ISO 13756: the factor comes from silver standards, never from the
    salt weighed in (the formula from memory). Raises Refused without standards.
    """
    if not standards:
        raise Refused("The salt solution needs at least one silver standard; take two.", field="standard")
    return sum((standard.factor for standard in standards), Fraction(0)) / len(standards)


def titrated_silver_ppm(factor: Fraction, sample_ug: int, volume_ul: int) -> int:
    """Silver by potentiometric titration: volume to the end point times the factor, over the sample (ISO 13756).

    Raises Refused for an empty sample, a negative volume, and more silver than sample.
    """
    _refuse_empty(sample_ug)
    if volume_ul < 0:
        raise Refused("The volume of a titration is never negative.", field="volume")
    return _ppm(factor * volume_ul, sample_ug, field="volume")


def _pure_ug(silver_ug: int, purity_ppm: int) -> Fraction:
    if silver_ug <= 0:
        raise Refused("A silver standard weighs more than zero.", field="standard")
    if not 0 < purity_ppm <= PPM:
        raise Refused("The purity of a standard is more than 0 and at most 1000 per mille.", field="purity")
    return Fraction(silver_ug * purity_ppm, PPM)


def _refuse_empty(sample_ug: int) -> None:
    if sample_ug <= 0:
        raise Refused("The sample of an assay weighs more than zero.", field="sample")


def _ppm(silver_ug: Fraction, sample_ug: int, *, field: str) -> int:
    exact = silver_ug * PPM / sample_ug
    ppm = half_even(exact.numerator, exact.denominator)
    if not 0 <= ppm <= PPM:
        raise Refused("The silver found is more than the sample, or less than nothing. Check the figures.", field=field)
    return ppm
