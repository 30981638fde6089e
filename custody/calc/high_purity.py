"""Fineness of nearly pure metal: 1000 per mille less the sum of its impurities.

ISO 15093:2020 (gold, platinum, palladium) and ISO 15096:2020 (silver), from 999 per mille: the impurities are measured
by ICP-OES and subtracted from the whole. Impurities are whole micrograms per kilogram (ppb); mg/kg have three decimals.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from custody.calc.fineness import format_per_mille
from custody.calc.reading import clean, quoted, scaled
from custody.calc.refusals import Refused, Unreadable
from custody.calc.rounding import down
from custody.terms import PPM

PPB = 1_000_000_000
PPB_IN_PPM = PPB // PPM

#: The standards named above begin here; less pure metal is cupelled or titrated.
LOWEST_PPM = 999_000

#: Metals whose fineness is found by difference.
PURE_METALS = ("Au", "Ag", "Pt", "Pd")

#: Steps in which a fineness is stated, in ppm: one decimal of a per mille (four nines), or two (five nines).
FOUR_NINES = 100
FIVE_NINES = 10

_SYMBOLS = """
H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Kr Rb
Sr Y Zr Nb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu Gd Tb Dy Ho Er Tm Yb Lu
Hf Ta W Re Os Ir Pt Au Hg Tl Pb Bi Th U
"""
ELEMENTS = frozenset(_SYMBOLS.split())


class Undetected(StrEnum):
    """How an element counts that the instrument reported as less than its limit of detection."""

    AT_LIMIT = "counted at its limit"
    NOT_COUNTED = "not counted"


@dataclass(frozen=True, slots=True)
class Impurity:
    """One impurity in micrograms per kilogram; ``undetected``: less than so much."""

    element: str
    ppb: int
    undetected: bool = False

    def __post_init__(self) -> None:
        if self.element not in ELEMENTS:
            raise Refused(f"{quoted(self.element)} is no element. Write its symbol, like Cu.", field="element")
        if not 0 <= self.ppb <= PPB:
            raise Refused("An impurity is between 0 and 1 000 000 mg/kg.", field=self.element)


@dataclass(frozen=True, slots=True)
class ByDifference:
    """A fineness by difference: the impurities counted (ppb), and 1000 per mille less them, rounded down to ppm."""

    metal: str
    counted_ppb: int
    fineness_ppm: int
    undetected: Undetected

    def stated_ppm(self, step_ppm: int = FOUR_NINES) -> int:
        """The fineness as a certificate states it: down to the step, never rounded up, and never the whole."""
        return min(down(self.fineness_ppm, 1, step=step_ppm), PPM - step_ppm)


def parse_impurity(element: str, text: str) -> Impurity:
    """One line of an instrument's report: mg/kg with at most three decimals, like ``12.5`` or ``<0.5``.

    Raises Unreadable for anything else, Refused for an element that does not exist.
    """
    undetected = isinstance(text, str) and text.lstrip().startswith("<")
    number = clean(text.lstrip()[1:] if undetected else text, what=element, example="12.5")
    ppb = scaled(number, decimals=3, most=3, what=element, example="12.5")
    if undetected and not ppb:
        raise Unreadable(f"A limit of detection is more than zero, like <0.5, not {quoted(text)}.", field=element)
    return Impurity(element, ppb, undetected)


def by_difference(
    metal: str, impurities: Sequence[Impurity], undetected: Undetected = Undetected.AT_LIMIT
) -> ByDifference:
    """1000 per mille less the impurities, rounded down to the ppm: an impurity is never rounded away.

    The standards do not say here how an undetected element counts; at its limit is the safe side, and which was chosen
    is part of the result. Raises Refused for a metal that is not assayed so, without impurities, for an element twice
    or the metal itself, and below 999 per mille.
    """
    if metal not in PURE_METALS:
        raise Refused(f"{metal} is not assayed by difference; {', '.join(PURE_METALS)} are.", field="metal")
    elements = [impurity.element for impurity in impurities]
    if not elements:
        raise Refused("A fineness by difference needs the impurities that were measured.", field="impurities")
    if metal in elements:
        raise Refused(f"{metal} is no impurity of itself.", field=metal)
    twice = next((element for element in elements if elements.count(element) > 1), None)
    if twice:
        raise Refused(f"{twice} is named twice. Name each element once.", field=twice)
    counted = sum(each.ppb for each in impurities if undetected is Undetected.AT_LIMIT or not each.undetected)
    fineness = down(max(PPB - counted, 0), PPB_IN_PPM)
    if fineness < LOWEST_PPM:
        raise Refused(
            f"The impurities leave {format_per_mille(fineness)} per mille; by difference only from"
            f" {format_per_mille(LOWEST_PPM)} on. Cupel or titrate it.",
            field="impurities",
        )
    return ByDifference(metal, counted, fineness, undetected)
