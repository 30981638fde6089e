"""Fineness from the raw weighings of a fire assay, in whole micrograms.

Additive proof correction (Beringer, A Text-book of Assaying, 9th ed., London 1904, p. 154): a proof of known
gold goes through the same fire and acid; what its cornet weighs more than the gold taken is the surcharge, and
it is deducted from every assay cornet. A proof that loses metal has a negative surcharge, which adds: so the
check pieces of a silver assay (p. 104) are the same rule.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from custody.calc.reading import clean, refuse_zero, scaled
from custody.calc.refusals import Refused
from custody.calc.rounding import half_even
from custody.terms import PPM

#: Parts of silver to one of gold that part well: 2.5 (Beringer, p. 146); ISO 11426 takes 2.3 to 3.
INQUARTATION = Fraction(5, 2)


@dataclass(frozen=True, slots=True)
class Charge:
    """One assay piece: micrograms of the sample taken, and of the cornet or bead it gave."""

    sample_ug: int
    cornet_ug: int

    def __post_init__(self) -> None:
        if self.sample_ug <= 0:
            raise Refused("The sample of an assay weighs more than zero.", field="sample")
        if self.cornet_ug < 0:
            raise Refused("The cornet of an assay never weighs less than zero.", field="cornet")


@dataclass(frozen=True, slots=True)
class Proof:
    """One proof or check piece: micrograms of proof metal taken, its purity in ppm, micrograms it gave."""

    taken_ug: int
    cornet_ug: int
    purity_ppm: int = PPM

    def __post_init__(self) -> None:
        if self.taken_ug <= 0 or self.cornet_ug <= 0:
            raise Refused("A proof and its cornet weigh more than zero.", field="proof")
        if not 0 < self.purity_ppm <= PPM:
            raise Refused("The purity of a proof is more than 0 and at most 1000 per mille.", field="purity")

    @property
    def surcharge_ug(self) -> Fraction:
        """What the cornet weighs more than the pure metal taken, exact, in micrograms."""
        return self.cornet_ug - Fraction(self.taken_ug * self.purity_ppm, PPM)


@dataclass(frozen=True, slots=True)
class FireAssay:
    """What a set of pieces says: the surcharge deducted (exact micrograms), each piece's result and their mean.

    ``results_ppm`` and ``mean_ppm`` are rounded half to even; ``spread_ppm`` is the highest result less the lowest.
    """

    surcharge_ug: Fraction
    results_ppm: tuple[int, ...]
    mean_ppm: int
    spread_ppm: int


def parse_milligrams(text: str, *, what: str = "weight", allow_zero: bool = False) -> int:
    """Micrograms from what an assay balance shows: plain milligrams with a point and at most three decimals.

    Raises Unreadable for anything else, Refused for zero (unless allowed).
    """
    example = "250.013"
    ug = scaled(clean(text, what=what, example=example), decimals=3, most=3, what=what, example=example)
    if not allow_zero:
        refuse_zero(ug, what=what, example=example)
    return ug


def format_milligrams(ug: int) -> str:
    """Milligrams with three decimals, of micrograms: ``250.013``."""
    return f"{ug // 1000}.{ug % 1000:03d}"


def mean_surcharge_ug(proofs: Sequence[Proof]) -> Fraction:
    """The mean surcharge of the proofs, exact, in micrograms; zero without proofs."""
    if not proofs:
        return Fraction(0)
    return sum((proof.surcharge_ug for proof in proofs), Fraction(0)) / len(proofs)


def fire_assay(charges: Sequence[Charge], proofs: Sequence[Proof] = ()) -> FireAssay:
    """The fineness of a sample: each piece less the mean surcharge, and the mean of the pieces' reported results.

    Raises Refused without pieces, and where a corrected piece lies outside 0 to 1000 per mille.
    """
    if not charges:
        raise Refused("An assay needs at least one piece; take it in duplicate.", field="sample")
    surcharge = mean_surcharge_ug(proofs)
    results = tuple(_result_ppm(charge, surcharge) for charge in charges)
    return FireAssay(
        surcharge_ug=surcharge,
        results_ppm=results,
        mean_ppm=mean_ppm(results),
        spread_ppm=max(results) - min(results),
    )


def silver_to_add_ug(sample_ug: int, gold_ppm: int, silver_ppm: int = 0, *, ratio: Fraction = INQUARTATION) -> int:
    """Micrograms of silver to add to a piece so that it holds ``ratio`` parts of silver to one of gold.

    Gold times ratio, less the silver that is there already (Beringer, p. 146-148), rounded half to even; zero where
    there is enough. Raises Refused for an empty sample, and for finenesses below 0 or above 1000 per mille together.
    """
    if sample_ug <= 0:
        raise Refused("The sample of an assay weighs more than zero.", field="sample")
    if min(gold_ppm, silver_ppm) < 0 or gold_ppm + silver_ppm > PPM:
        raise Refused("Gold and silver together are between 0 and 1000 per mille.", field="fineness")
    wanted = sample_ug * (ratio * gold_ppm - silver_ppm) / PPM
    return max(half_even(wanted.numerator, wanted.denominator), 0)


def mean_ppm(results: Sequence[int]) -> int:
    """The mean of reported results in ppm, half to even. Raises Refused without results."""
    if not results:
        raise Refused("A mean needs at least one result.", field="result")
    return half_even(sum(results), len(results))


def _result_ppm(charge: Charge, surcharge: Fraction) -> int:
    exact = (charge.cornet_ug - surcharge) * PPM / charge.sample_ug
    ppm = half_even(exact.numerator, exact.denominator)
    if not 0 <= ppm <= PPM:
        raise Refused(
            "The corrected cornet is heavier than its sample, or lighter than nothing."
            " Check the weighings, or assay again with a proof of the same quality.",
            field="cornet",
        )
    return ppm
