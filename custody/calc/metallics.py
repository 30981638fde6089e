"""Fineness of sweeps and slags in which metal grains stay on the sieve: both parts assayed, joined by their weights.

Beringer, A Text-book of Assaying, 9th ed., London 1904, p. 108-109: the weights of the sifted part and of the metallics
are taken, each is assayed by itself, and each counts by its share of the whole sample. To add the metallics' share to
one charge of the siftings is shorter and gives too much.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from custody.calc.assay import Charge
from custody.calc.refusals import Refused
from custody.calc.rounding import half_even
from custody.terms import PPM


@dataclass(frozen=True, slots=True)
class Metallics:
    """What stayed on the sieve: its milligrams, and the micrograms of the metal that the whole of it gave."""

    weight_mg: int
    metal_ug: int

    def __post_init__(self) -> None:
        if self.weight_mg < 0 or self.metal_ug < 0:
            raise Refused("Metallics never weigh less than zero.", field="metallics")
        if self.metal_ug > self.weight_mg * 1000:
            raise Refused("The metallics hold more metal than they weigh. Check the weighings.", field="metallics")


def screened_ppm(metallics: Metallics, siftings_mg: int, charges: Sequence[Charge]) -> int:
    """The fineness of a screened sample in ppm, rounded half to even once.

    ``siftings_mg`` is what went through the sieve, ``charges`` are the pieces of it that were assayed; their mean is
    taken for all of it. Raises Refused without siftings or charges, and for a charge that gave more than was taken.
    """
    if siftings_mg <= 0:
        raise Refused("The sifted part of a sample weighs more than zero.", field="siftings")
    if not charges:
        raise Refused("The sifted part needs at least one assay; take it in duplicate.", field="sample")
    if any(charge.cornet_ug > charge.sample_ug for charge in charges):
        raise Refused("A piece gave more metal than was taken of it. Check the weighings.", field="cornet")
    produce = sum(Fraction(charge.cornet_ug, charge.sample_ug) for charge in charges) / len(charges)
    metal_ug = metallics.metal_ug + produce * siftings_mg * 1000
    exact = metal_ug * PPM / ((metallics.weight_mg + siftings_mg) * 1000)
    return half_even(exact.numerator, exact.denominator)
