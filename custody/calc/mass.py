"""Mass in whole milligrams: reading it from people and files, writing it for people and files.

No float touches a mass. 1 troy ounce = 31.1034768 g exactly (ISO 31-3:1992; 480 grains of 64.79891 mg).
"""

import re

from custody.calc.reading import LONGEST, clean, quoted, refuse_zero, scaled
from custody.calc.refusals import Refused, Unreadable
from custody.calc.rounding import half_even

#: A troy ounce in units of a ten-thousandth of a milligram: 31 103.4768 mg.
TROY_OUNCE = 311_034_768
TROY_OUNCE_PARTS = 10_000

#: No balance of a refinery weighs more; a larger figure is a slip of the decimal point.
HEAVIEST_MG = 100 * 10**9

#: Between groups of three digits on screens and papers: NARROW NO-BREAK SPACE.
GROUP = "\u202f"
MINUS = "\u2212"

EXAMPLE = "1234.567"
FINE_EXAMPLE = "1000.020"

_WITH_UNIT = re.compile(r"([0-9.]+) ?(g|kg|mg|ozt)")
_FINE_UNIT = re.compile(r"([0-9.]+) ?(g|mg)")
_LETTERS = re.compile(r"[0-9.]+ *[A-Za-z]+")
_GROUPED = re.compile(rf"[0-9]{{1,3}}(?:{GROUP}[0-9]{{3}})+(?:\.[0-9]+)?(?: ?[a-z]+)?")
#: Unit: how many decimals count milligrams (None: troy ounces), and how many may be written.
_UNITS = {"g": (3, 3), "kg": (6, 6), "mg": (0, 0), "ozt": (5, 5)}


def parse_grams(text: str, *, what: str = "weight", allow_units: bool = False, allow_zero: bool = False) -> int:
    """Milligrams from what a person typed or a scale sent.

    Plain grams with a point and at most three decimals. With ``allow_units`` also ``g``, ``kg`` (six
    decimals), ``mg`` (none) and ``ozt`` (five; rounded half to even to the milligram), and the group
    spaces that ``format_grams`` writes. ``what`` names the value in the refusal.

    Raises Unreadable for anything else, Refused for zero (unless allowed) and for more than 100 t.
    """
    if allow_units and isinstance(text, str) and len(text) < 80 and _GROUPED.fullmatch(text.strip()):
        text = text.replace(GROUP, "")
    text = clean(text, what=what, example=EXAMPLE)
    number, unit = _number_and_unit(text, what, allow_units)
    decimals, most = _UNITS[unit]
    example = EXAMPLE if unit == "g" else f"{'1234' if unit == 'mg' else '1.23456'} {unit}"
    value = scaled(number, decimals=decimals, most=most, what=what, example=example)
    if unit == "ozt":
        value = half_even(value * TROY_OUNCE, TROY_OUNCE_PARTS * 10**decimals)
    if not allow_zero:
        refuse_zero(value, what=what, example=EXAMPLE)
    return _not_too_heavy(value, text, what)


def parse_strict_grams(text: str, *, what: str = "mass", allow_negative: bool = False, allow_zero: bool = True) -> int:
    """Milligrams from a mass of the history file and the API: a string of plain grams, nothing around it.

    At most three decimals; no unit, comma, space or plus sign. A leading minus only with ``allow_negative``
    (losses), and not before zero. Zero is allowed unless ``allow_zero`` is off: a metal may be absent.

    Raises Unreadable, Refused for a forbidden zero and for more than 100 t.
    """
    if isinstance(text, str) and any(c.isspace() for c in text[: LONGEST + 1]):
        raise Unreadable(f"The {what} {quoted(text)} has spaces in it. Write it like {EXAMPLE}.", field=what)
    negative = allow_negative and isinstance(text, str) and text.startswith("-")
    number = clean(text[1:] if negative else text, what=what, example=EXAMPLE)
    value = scaled(number, decimals=3, most=3, what=what, example=EXAMPLE)
    if negative or not allow_zero:
        refuse_zero(value, what=what, example=EXAMPLE)
    value = _not_too_heavy(value, text, what)
    return -value if negative else value


def parse_fine_grams(text: str, *, what: str = "reading", allow_units: bool = False, allow_zero: bool = False) -> int:
    """Micrograms from what a balance shows: grams with at most six decimals; with ``allow_units`` also mg (three).

    Raises Unreadable for anything else, Refused for zero (unless allowed) and for more than 100 t.
    """
    text = clean(text, what=what, example=FINE_EXAMPLE)
    match = _FINE_UNIT.fullmatch(text)
    number, unit = (match[1], match[2]) if match and allow_units else (text, "g")
    if (match and not allow_units) or (not match and _LETTERS.fullmatch(text)):
        raise Unreadable(f"The {what} {quoted(text)} has a unit that is not read here. Write grams.", field=what)
    decimals = 6 if unit == "g" else 3
    example = FINE_EXAMPLE if unit == "g" else "5000.002 mg"
    value = scaled(number, decimals=decimals, most=decimals, what=what, example=example)
    if not allow_zero:
        refuse_zero(value, what=what, example=FINE_EXAMPLE)
    _not_too_heavy(value // 1000, text, what)
    return value


def plain_fine_grams(ug: int) -> str:
    """Grams of micrograms as a field holds them: three decimals, six where they are needed."""
    return _decimal(ug, 6, group="", minus="-").removesuffix("" if ug % 1000 else "000")


def format_fine_grams(ug: int, *, decimals: int = 6) -> str:
    """Grams of micrograms as screens show them; fewer ``decimals`` only where no micrograms are lost."""
    spare = 10 ** (6 - decimals)
    return _decimal(ug, 6) if ug % spare else _decimal(ug // spare, decimals)


def plain_grams(mg: int) -> str:
    """Grams as contract files write them: ``1234.567``, a hyphen before a negative."""
    return _decimal(mg, 3, group="", minus="-")


def format_grams(mg: int) -> str:
    """Grams as screens and papers show them: three decimals, narrow spaces between thousands, a true minus."""
    return _decimal(mg, 3)


def format_kilograms(mg: int) -> str:
    """Kilograms with three decimals, rounded half to even to the gram. For totals only."""
    return _decimal(half_even(mg, 1000), 3)


def format_troy_ounces(mg: int) -> str:
    """Troy ounces with three decimals, rounded half to even."""
    return _decimal(half_even(mg * 1000 * TROY_OUNCE_PARTS, TROY_OUNCE), 3)


def _number_and_unit(text: str, what: str, allow_units: bool) -> tuple[str, str]:
    match = _WITH_UNIT.fullmatch(text)
    if match and allow_units:
        return match[1], match[2]
    if match or _LETTERS.fullmatch(text):
        right = "g, kg, mg or ozt, or none for grams" if allow_units else f"grams alone, like {EXAMPLE}"
        raise Unreadable(f"The {what} {quoted(text)} has a unit that is not read here. Write {right}.", field=what)
    return text, "g"


def _not_too_heavy(mg: int, text: str, what: str) -> int:
    if mg > HEAVIEST_MG:
        raise Refused(
            f"The {what} {quoted(text)} is more than 100 t. Check the unit and the decimal point.", field=what
        )
    return mg


def _decimal(value: int, decimals: int, *, group: str = GROUP, minus: str = MINUS) -> str:
    """A whole count of ``10 ** -decimals`` as a decimal number."""
    whole, fraction = divmod(abs(value), 10**decimals)
    sign = minus if value < 0 else ""
    return f"{sign}{whole:,}".replace(",", group) + f".{fraction:0{decimals}d}"
