"""Uncertainty of a result: first-order propagation (GUM, JCGM 100:2008, clause 5), exact until it is written down.

A ``Measured`` is a value with what it depends on: every source of error by name, the slope by which the result follows
it, and its variance. Sums, products and quotients carry the slopes along, so that a source used twice (one proof metal
under several proofs) counts twice in one direction, as it does in life. Sources are otherwise independent.
The standard uncertainty is the root of sum (slope squared * variance); the expanded one is k = 2 times that, which
covers about 95 % where the laboratory knows its variances well.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction

from custody.calc.assay import Charge, Proof
from custody.calc.refusals import Refused
from custody.calc.rounding import root_to_places, to_places
from custody.terms import PPM

Exact = int | Decimal | Fraction

#: Coverage factor of an expanded uncertainty.
K = 2


@dataclass(frozen=True, slots=True)
class Source:
    """How a result follows one source of error: by this slope, from this variance."""

    slope: Fraction
    variance: Fraction

    @property
    def share(self) -> Fraction:
        """What it adds to the variance of the result."""
        return self.slope**2 * self.variance


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and its sources of error by name. Made by ``measured`` and ``constant``; reckoned with like a number."""

    value: Fraction
    sources: dict[str, Source] = field(default_factory=dict)

    @property
    def variance(self) -> Fraction:
        """The variance of the value: of independent sources, their shares added."""
        return sum((source.share for source in self.sources.values()), Fraction(0))

    def rounded(self, places: int) -> Decimal:
        """The value with so many decimals, half to even."""
        return to_places(self.value, places)

    def standard(self, places: int) -> Decimal:
        """The standard uncertainty with so many decimals, half to even."""
        return root_to_places(self.variance, places)

    def expanded(self, places: int) -> Decimal:
        """The expanded uncertainty, k = 2, with so many decimals, half to even."""
        return root_to_places(self.variance * K**2, places)

    def budget(self, places: int) -> tuple[tuple[str, Decimal], ...]:
        """Every source with the standard uncertainty that it brings into the result, the largest first."""
        largest_first = sorted(self.sources.items(), key=lambda item: (-item[1].share, item[0]))
        return tuple((name, root_to_places(source.share, places)) for name, source in largest_first)

    def __add__(self, other: "Measured | Exact") -> "Measured":
        other = _measured(other)
        return _combined(self.value + other.value, (self, Fraction(1)), (other, Fraction(1)))

    def __sub__(self, other: "Measured | Exact") -> "Measured":
        other = _measured(other)
        return _combined(self.value - other.value, (self, Fraction(1)), (other, Fraction(-1)))

    def __mul__(self, other: "Measured | Exact") -> "Measured":
        other = _measured(other)
        return _combined(self.value * other.value, (self, other.value), (other, self.value))

    def __truediv__(self, other: "Measured | Exact") -> "Measured":
        other = _measured(other)
        if other.value == 0:
            raise Refused("Nothing can be divided by a measured zero.", field="value")
        quotient = self.value / other.value
        return _combined(quotient, (self, 1 / other.value), (other, -quotient / other.value))

    __radd__ = __add__
    __rmul__ = __mul__

    def __rsub__(self, other: Exact) -> "Measured":
        return _measured(other) - self

    def __rtruediv__(self, other: Exact) -> "Measured":
        return _measured(other) / self


@dataclass(frozen=True, slots=True)
class Laboratory:
    """What a fire assay's uncertainty is made of, as variances; zero where a part is counted in another.

    ``weighing_ug2``: of one weighing on the assay balance, micrograms squared. ``purity_ppm2``: of the proof metal's
    purity, the same for all proofs. ``repeatability_ppm2``: of one piece through fire and acid, without the weighings.
    ``sampling_ppm2``: of the sample against its lot.
    """

    weighing_ug2: Fraction
    purity_ppm2: Fraction = Fraction(0)
    repeatability_ppm2: Fraction = Fraction(0)
    sampling_ppm2: Fraction = Fraction(0)


def known(u: Exact) -> Fraction:
    """The variance of a standard uncertainty, or standard deviation, that is known. Raises Refused below zero."""
    if u < 0:
        raise Refused("An uncertainty is zero or more.", field="uncertainty")
    return Fraction(u) ** 2


def within(half_width: Exact) -> Fraction:
    """The variance of an error that lies anywhere within plus or minus so much: half width squared / 3 (GUM 4.3.7).

    For permissible errors of scales and weights. Raises Refused below zero.
    """
    return known(half_width) / 3


def display(step: Exact) -> Fraction:
    """The variance of rounding to a display's step: step squared / 12 (GUM F.2.2.1). Raises Refused below zero."""
    return known(step) / 12


def measured(name: str, value: Exact, variance: Exact) -> Measured:
    """A measured value under the name of its source of error. Two values under one name err together.

    Raises Refused for a variance below zero.
    """
    if variance < 0:
        raise Refused("A variance is zero or more.", field="variance")
    return Measured(Fraction(value), {name: Source(Fraction(1), Fraction(variance))} if variance else {})


def constant(value: Exact) -> Measured:
    """A value without an error of its own."""
    return Measured(Fraction(value))


def fine_mass(gross_mg: int, fineness: Measured, *, weighing_mg2: Exact) -> Measured:
    """Fine milligrams of a lot: gross times fineness (in ppm) / 1 000 000, exact, with the variance of the weighing.

    The book's fine mass is the same product rounded to the milligram (``fineness.fine_mg``).
    Raises Refused for a negative gross and for a fineness outside 0 to 1000 per mille.
    """
    if gross_mg < 0:
        raise Refused("A gross weight is never negative.", field="gross")
    if not 0 <= fineness.value <= PPM:
        raise Refused("A fineness lies between 0 and 1000 per mille.", field="fineness")
    return measured("weighing of the lot", gross_mg, weighing_mg2) * fineness / PPM


def determined(ppm: int, *, assay_ppm2: Exact, sampling_ppm2: Exact = 0) -> Measured:
    """A fineness in ppm whose assay and sampling variances are known by experience, ppm squared."""
    return measured("assay", ppm, assay_ppm2) + measured("sampling", 0, sampling_ppm2)


def fire_assay_fineness(charges: Sequence[Charge], proofs: Sequence[Proof], laboratory: Laboratory) -> Measured:
    """The mean fineness of a fire assay in ppm, exact, with what the laboratory's weighings, proofs and fire add.

    Formula as ``assay.fire_assay``: each cornet less the mean surcharge, over its sample; the pieces' mean. One
    surcharge corrects all pieces, and one proof metal is under all proofs: neither averages out.
    Raises Refused without charges.
    """
    if not charges:
        raise Refused("An assay needs at least one piece; take it in duplicate.", field="sample")
    weighing = laboratory.weighing_ug2
    purity = measured("purity of the proof metal", 0, laboratory.purity_ppm2)
    surcharge = constant(0)
    for number, proof in enumerate(proofs, 1):
        taken = measured(f"proof {number}, weighing in", proof.taken_ug, weighing)
        cornet = measured(f"proof {number}, cornet", proof.cornet_ug, weighing)
        surcharge += (cornet - taken * (purity + proof.purity_ppm) / PPM) / len(proofs)
    total = constant(0)
    for number, charge in enumerate(charges, 1):
        sample = measured(f"piece {number}, weighing in", charge.sample_ug, weighing)
        cornet = measured(f"piece {number}, cornet", charge.cornet_ug, weighing)
        fire = measured(f"piece {number}, fire and acid", 0, laboratory.repeatability_ppm2)
        total += (cornet - surcharge) * PPM / sample + fire
    return total / len(charges) + measured("sampling", 0, laboratory.sampling_ppm2)


def _measured(value: Measured | Exact) -> Measured:
    return value if isinstance(value, Measured) else constant(value)


def _combined(value: Fraction, *parts: tuple[Measured, Fraction]) -> Measured:
    """A result of two values: every source's slope is the sum of its slopes through either of them."""
    sources: dict[str, Source] = {}
    for part, slope in parts:
        for name, source in part.sources.items():
            before = sources.get(name)
            if before and before.variance != source.variance:
                raise Refused(f"Two sources of error are called {name}. Name them apart.", field="name")
            through = slope * source.slope + (before.slope if before else 0)
            sources[name] = Source(through, source.variance)
    return Measured(value, sources)
