"""Whether parallel results agree: the limit of a method, and the limit that a laboratory's own duplicates show.

The repeatability limit r is the difference that two results of one laboratory stay within in 95 of 100 cases:
r = 1.96 * sqrt(2) * s (ISO 5725-1 and 5725-6), s the repeatability standard deviation; from n pairs with differences d,
s = sqrt(sum of d squared / 2n). More than two results may spread by the critical range of ISO 5725-6 instead.
Values are whole numbers in any one unit (ppm, micrograms); roots are exact until they are written as decimals.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from custody.calc.assay import mean_ppm
from custody.calc.fineness import format_per_mille
from custody.calc.refusals import Refused
from custody.calc.rounding import root_to_places
from custody.terms import PPM, Method

#: r squared over s squared: (1.96 * sqrt 2) squared.
R_OVER_S_SQUARED = 2 * Fraction(196, 100) ** 2

#: Critical range of n results in tenths of s, n from 2 on (ISO 5725-6, table 1; the figures from memory, they are
#: the 95 % points of the studentized range).
CRITICAL_TENTHS = (28, 33, 36, 39, 40, 42, 43, 44, 45)


@dataclass(frozen=True, slots=True)
class Limit:
    """By how many ppm two results of a method may differ, for a metal from one fineness to below another, ppm."""

    method: Method
    metal: str
    from_ppm: int
    below_ppm: int
    limit_ppm: int
    white_ppm: int
    source: str


#: Limits of the standards, all from memory: none of their clauses could be read. A house that agrees others names them.
LIMITS = (
    Limit(Method.FIRE_ASSAY, "Au", 100_000, 990_000, 500, 1_000, "ISO 11426, from memory"),
    Limit(Method.FIRE_ASSAY, "Au", 990_000, PPM + 1, 200, 200, "ISO 11426, from memory"),
    Limit(Method.TITRATION, "Ag", 100_000, 999_001, 1_000, 1_000, "ISO 13756 and ISO 11427, from memory"),
)


@dataclass(frozen=True, slots=True)
class Agreement:
    """Parallel results against a limit: their mean (half to even), their spread, and how much they may spread, ppm."""

    results_ppm: tuple[int, ...]
    mean_ppm: int
    spread_ppm: int
    allowed_ppm: int

    @property
    def accepted(self) -> bool:
        """Whether the mean stands; if not, the assay is repeated in duplicate."""
        return self.spread_ppm <= self.allowed_ppm

    @property
    def sentence(self) -> str:
        """The verdict in words, in per mille."""
        spread, allowed = format_per_mille(self.spread_ppm), format_per_mille(self.allowed_ppm)
        if self.accepted:
            return f"The results lie {spread} per mille apart, within the {allowed} that they may."
        return f"The results lie {spread} per mille apart; they may {allowed}. Assay again in duplicate."


@dataclass(frozen=True, slots=True)
class Repeatability:
    """What pairs of results show: how many pairs, and the variance of a single result, exact, in the unit squared."""

    pairs: int
    variance: Fraction

    def deviation(self, places: int) -> Decimal:
        """The repeatability standard deviation s, half to even."""
        return root_to_places(self.variance, places)

    def limit(self, places: int) -> Decimal:
        """The repeatability limit r = 1.96 * sqrt(2) * s, half to even, from the exact variance."""
        return root_to_places(self.variance * R_OVER_S_SQUARED, places)


def limit_of(method: Method, metal: str, ppm: int, *, white: bool = False) -> Limit:
    """The limit of a method for a metal at a fineness in ppm; for white gold its ``white_ppm`` counts.

    Raises Refused where no limit is known: it has to be agreed, never guessed.
    """
    for limit in LIMITS:
        if (limit.method, limit.metal) == (method, metal) and limit.from_ppm <= ppm < limit.below_ppm:
            return limit
    raise Refused(
        f"No limit is known for duplicates of {metal} by {method.label} at {format_per_mille(ppm)} per mille."
        " Agree one and enter it.",
        field="limit",
    )


def agreement(results_ppm: Sequence[int], limit_ppm: int) -> Agreement:
    """Two or more parallel results of one sample against the method's limit for two, all in ppm.

    Three to ten results may spread by the critical range: the limit times 3.3 / 2.8, 3.6 / 2.8 and so on, rounded down.
    Raises Refused for a single result, for more than ten, and for a limit below zero.
    """
    if limit_ppm < 0:
        raise Refused("A limit is never below zero.", field="limit")
    if not 2 <= len(results_ppm) <= len(CRITICAL_TENTHS) + 1:
        raise Refused(f"Two to {len(CRITICAL_TENTHS) + 1} results can be compared.", field="results")
    factor = CRITICAL_TENTHS[len(results_ppm) - 2]
    return Agreement(
        results_ppm=tuple(results_ppm),
        mean_ppm=mean_ppm(results_ppm),
        spread_ppm=max(results_ppm) - min(results_ppm),
        allowed_ppm=limit_ppm * factor // CRITICAL_TENTHS[0],
    )


def duplicates_agree(
    results_ppm: Sequence[int], method: Method, metal: str, *, white: bool = False, limit_ppm: int | None = None
) -> Agreement:
    """Parallel results against the method's limit at their mean, or against ``limit_ppm`` where one is agreed.

    Raises Refused as ``limit_of`` and ``agreement`` do.
    """
    if limit_ppm is None:
        limit = limit_of(method, metal, mean_ppm(results_ppm))
        limit_ppm = limit.white_ppm if white else limit.limit_ppm
    return agreement(results_ppm, limit_ppm)


def from_pairs(pairs: Sequence[tuple[int, int]]) -> Repeatability:
    """The repeatability that pairs of results of like samples show. Raises Refused without pairs."""
    if not pairs:
        raise Refused("Repeatability needs at least one pair of results.", field="results")
    return Repeatability(len(pairs), Fraction(sum((one - other) ** 2 for one, other in pairs), 2 * len(pairs)))


def variance_of(results: Sequence[int]) -> Fraction:
    """The variance of parallel results of one sample: squares about their mean over n - 1, exact.

    Raises Refused for fewer than two results.
    """
    if len(results) < 2:
        raise Refused("A standard deviation needs at least two results.", field="results")
    mean = Fraction(sum(results), len(results))
    return sum(((result - mean) ** 2 for result in results), Fraction(0)) / (len(results) - 1)
