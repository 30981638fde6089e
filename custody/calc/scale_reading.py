"""What a scale sends by itself, as whole micrograms."""

import re

from custody.calc.reading import clean, scaled
from custody.calc.refusals import Refused

#: Decimals of each unit that count micrograms.
DECIMALS = {"g": 6, "mg": 3, "kg": 9}
EXAMPLE = "12.345"
_SIGNED = re.compile(r"-[0-9.]+")


def parse_reading(text: str, *, unit: str) -> int:
    """Micrograms of a reading in g, mg or kg: a plain decimal number, a minus before it where the pan was lightened.

    Raises Unreadable, also for parts of a microgram, and Refused for another unit.
    """
    if unit not in DECIMALS:
        raise Refused(f"A reading is in {', '.join(DECIMALS)}.", field="unit")
    negative = isinstance(text, str) and len(text) < 40 and _SIGNED.fullmatch(text) is not None
    number = clean(text[1:] if negative else text, what="reading", example=EXAMPLE)
    value = scaled(number, decimals=DECIMALS[unit], most=DECIMALS[unit], what="reading", example=EXAMPLE)
    return -value if negative else value
