"""What a parcel may hold by what is declared of it: an estimate for the counter, never a figure of the book.

A range, not a number, and a type of its own, so that nothing that books metal takes it for fine metal. It ends at what
is declared and promises no more. It begins 7 per mille below: so much may a whole gold article with its solder fall
short of its mark in the United States (15 U.S.C. 295); where a karat's mark and its exact share differ, below the
lower of the two. Stones, plating and plain untruth are not in it.
"""

import re
from dataclasses import dataclass

from custody.calc.fineness import KARAT_MARKS, fine_mg, format_per_mille, karat_ppm, parse_per_mille, parse_percent
from custody.calc.mass import format_grams
from custody.calc.reading import clean, quoted, scaled
from custody.calc.refusals import Refused, Unreadable
from custody.calc.rounding import down
from custody.terms import METALS, PPM

#: How far below its mark a whole article with solder may be (15 U.S.C. 295).
SHORTFALL_PPM = 7_000

#: A bare number up to here may be karat or per mille, and is refused.
_EITHER = 24_000
_EXAMPLE = "18k or 750"
_DECLARED = re.compile(r"(.*?)\s*(k|kt|ct|karat|carat|%|‰)?", re.IGNORECASE | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Declared:
    """A declared fineness: the range in ppm that an estimate takes, and how the declaration reads."""

    metal: str
    low_ppm: int
    high_ppm: int
    words: str


@dataclass(frozen=True, slots=True)
class Estimate:
    """Fine metal that a parcel may hold, from and to, in milligrams. Never booked, never paid on."""

    metal: str
    low_mg: int
    high_mg: int
    words: str

    @property
    def sentence(self) -> str:
        """The estimate as a screen or a paper says it."""
        return (
            f"Estimate only, from {self.words} as declared: {format_grams(self.low_mg)} to"
            f" {format_grams(self.high_mg)} g of fine {self.metal}. The assay decides."
        )


def declared_karat(tenths: int) -> Declared:
    """Gold declared by karat, in tenths of a karat: ``declared_karat(180)`` is 18 karat.

    Raises Refused outside 0 to 24 karat.
    """
    exact = karat_ppm(tenths, parts=10)
    whole, tenth = divmod(tenths, 10)
    mark = exact if tenth else KARAT_MARKS.get(whole, exact)
    return _declared("Au", min(exact, mark), max(exact, mark), f"{whole}.{tenth} karat" if tenth else f"{whole} karat")


def declared_fineness(ppm: int, metal: str = "Au") -> Declared:
    """A metal declared by its fineness in ppm.

    Raises Refused for what is no metal of account, and outside 0 to 1000 per mille.
    """
    if metal not in METALS:
        raise Refused(f"{metal} is no metal of account.", field="metal")
    if not 0 < ppm <= PPM:
        raise Refused("A declared fineness is more than 0 and at most 1000 per mille.", field="declared")
    return _declared(metal, ppm, ppm, f"{format_per_mille(ppm)} per mille")


def parse_declared(text: str, *, metal: str = "Au", what: str = "declared") -> Declared:
    """A declaration as typed: karat (``18k``, ``17.5 ct``), per mille (``750``, ``750 ‰``) or per cent (``75 %``).

    A bare number up to 24 is refused, for it may be either. Raises Unreadable for what is not understood, Refused for
    karat of another metal than gold, and for what does not exist.
    """
    if not isinstance(text, str) or len(text) > 40:
        clean(text, what=what, example=_EXAMPLE)
    number, unit = _DECLARED.fullmatch(text.strip()).groups()
    if unit == "%":
        return declared_fineness(parse_percent(number, what=what, allow_zero=False), metal)
    if unit is None or unit == "‰":
        ppm = parse_per_mille(number, what=what)
        if unit is None and ppm <= _EITHER:
            raise Unreadable(
                f"The {what} {quoted(text)} may be karat or per mille. Write {number}k, or {number} ‰.", field=what
            )
        return declared_fineness(ppm, metal)
    if metal != "Au":
        raise Refused(f"Karat is said of gold; give the fineness of {metal} in per mille.", field=what)
    number = clean(number, what=what, example=_EXAMPLE)
    return declared_karat(scaled(number, decimals=1, most=1, what=what, example=_EXAMPLE))


def estimate(net_mg: int, declared: Declared) -> Estimate:
    """What a net weight in milligrams may hold: from the low fineness, rounded down, to the high one, half to even.

    Raises Refused for a negative weight.
    """
    high = fine_mg(net_mg, declared.high_ppm)
    return Estimate(declared.metal, down(net_mg * declared.low_ppm, PPM), high, declared.words)


def _declared(metal: str, low: int, high: int, words: str) -> Declared:
    return Declared(metal, max(low - SHORTFALL_PPM, 0), high, words)
