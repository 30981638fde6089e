"""Fineness in whole parts per million by mass: 999.9 per mille is 999 900 ppm."""

from collections.abc import Sequence

from custody.calc.reading import clean, quoted, refuse_zero, scaled
from custody.calc.refusals import Refused
from custody.calc.rounding import half_even
from custody.terms import PPM

#: Commercial marks of gold by karat, in ppm. 14 k is marked 585, above its exact 583.333; 22 k is marked 916,
#: below its exact 916.667 (Wikipedia, "Millesimal fineness"). 24 k has no single mark: 990, 995, 999 and
#: 999.9 are all in use. 12 k and 21 k are exact (common practice).
KARAT_MARKS = {
    8: 333_000,
    9: 375_000,
    10: 417_000,
    12: 500_000,
    14: 585_000,
    15: 625_000,
    18: 750_000,
    20: 833_000,
    21: 875_000,
    22: 916_000,
    23: 958_300,
}

#: Standards of fineness of ISO 9202 in ppm (from memory), lowest first. They are minimum values: no minus tolerance.
STANDARDS = {
    "Au": (333_000, 375_000, 417_000, 585_000, 750_000, 800_000, 916_000, 990_000, 999_000),
    "Ag": (800_000, 925_000, 958_000, 999_000),
    "Pt": (850_000, 900_000, 950_000, 999_000),
    "Pd": (500_000, 950_000, 999_000),
}


def parse_per_mille(text: str, *, what: str = "fineness", allow_zero: bool = False) -> int:
    """Parts per million from a fineness in per mille, like ``999.9``: at most three decimals, at most 1000.

    Raises Unreadable for anything else, Refused for zero (unless allowed) and for more than 1000.
    """
    return _parse(text, what=what, example="999.9", decimals=3, limit="1000 per mille", allow_zero=allow_zero)


def parse_percent(text: str, *, what: str = "share", allow_zero: bool = True) -> int:
    """Parts per million from a percentage, like ``98.5``: at most four decimals, at most 100.

    Raises Unreadable for anything else, Refused for zero (where forbidden) and for more than 100.
    """
    return _parse(text, what=what, example="98.5", decimals=4, limit="100 per cent", allow_zero=allow_zero)


def format_per_mille(ppm: int) -> str:
    """Per mille with one decimal, more only where they say something: ``999.9``, ``585.0``, ``916.667``."""
    return _trimmed(ppm, 3, keep=1)


def format_percent(ppm: int) -> str:
    """Per cent with two decimals, more only where they say something: ``98.00``, ``99.9555``."""
    return _trimmed(ppm, 4, keep=2)


def karat_ppm(karat: int, *, parts: int = 1) -> int:
    """Exact proportion of ``karat / parts`` twenty-fourths in ppm, rounded half to even.

    ``karat_ppm(14)`` is 583 333, which no article is marked with: see ``karat_mark_ppm``.
    Raises Refused outside 0 to 24 karat.
    """
    if not 0 < karat <= 24 * parts:
        raise Refused("Gold has more than 0 and at most 24 karat.", field="karat")
    return half_even(karat * PPM, 24 * parts)


def karat_mark_ppm(karat: int) -> int:
    """The fineness in ppm that an article of so many karat is marked with.

    Raises Refused for a karat without one commercial mark.
    """
    if karat not in KARAT_MARKS:
        known = ", ".join(map(str, KARAT_MARKS))
        raise Refused(
            f"{karat} karat has no single mark ({known} have). Give the fineness in per mille.", field="karat"
        )
    return KARAT_MARKS[karat]


def standard_at_or_below(ppm: int, standards: Sequence[int]) -> int:
    """The highest of the standards that is not above the actual fineness, all in ppm.

    A standard is a minimum: gold of 584 where 375 and 585 are the standards is 375 gold.
    Raises Refused when it reaches none.
    """
    reached = [standard for standard in standards if standard <= ppm]
    if not reached:
        raise Refused(
            f"A fineness of {format_per_mille(ppm)} reaches no standard; the lowest is"
            f" {format_per_mille(min(standards))}.",
            field="fineness",
        )
    return max(reached)


def fine_mg(gross_mg: int, ppm: int) -> int:
    """Milligrams of pure metal in a gross weight: gross * ppm / 1 000 000, half to even, the only rounding.

    Raises Refused for a negative weight or a fineness outside 0 to 1000 per mille.
    """
    if gross_mg < 0:
        raise Refused("A gross weight is never negative.", field="gross")
    if not 0 <= ppm <= PPM:
        raise Refused("A fineness lies between 0 and 1000 per mille.", field="fineness")
    return half_even(gross_mg * ppm, PPM)


def _parse(text: str, *, what: str, example: str, decimals: int, limit: str, allow_zero: bool) -> int:
    text = clean(text, what=what, example=example)
    ppm = scaled(text, decimals=decimals, most=decimals, what=what, example=example)
    if ppm > PPM:
        raise Refused(f"The {what} {quoted(text)} is more than {limit}. Write it like {example}.", field=what)
    if not allow_zero:
        refuse_zero(ppm, what=what, example=example)
    return ppm


def _trimmed(value: int, decimals: int, *, keep: int) -> str:
    whole, fraction = divmod(value, 10**decimals)
    digits = f"{fraction:0{decimals}d}"
    return f"{whole}.{digits[:keep]}{digits[keep:].rstrip('0')}"
