"""How a bar is made, what its type asks of it, and how much is to be filed off."""

from dataclasses import dataclass

from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.terms import Term


class Making(Term):
    """How a bar is made: struck from a blank of strip, or cast singly."""

    STRUCK = "struck"
    CAST = "cast"


#: Up to this nominal weight bars are struck from strip; above it they are cast singly (common practice).
STRUCK_UP_TO_MG = 100_000


@dataclass(frozen=True, slots=True)
class Usual:
    """A bar type as it is usual: masses in milligrams, fineness in ppm."""

    code: str
    name: str
    metal: str
    least_mg: int
    most_mg: int
    least_ppm: int
    making: Making
    nominal_mg: int | None = None
    marks: tuple[str, ...] = ()


def _nominal(code: str, name: str, metal: str, nominal_mg: int, over_mg: int, least_ppm: int, word: str) -> Usual:
    making = Making.STRUCK if nominal_mg <= STRUCK_UP_TO_MG else Making.CAST
    return Usual(code, name, metal, nominal_mg, nominal_mg + over_mg, least_ppm, making, nominal_mg, (word,))


def _gold(code: str, weight: str, nominal_mg: int, over_mg: int) -> Usual:
    return _nominal(f"AU-{code}", f"{weight} gold", "Au", nominal_mg, over_mg, 999_900, "FINE GOLD")


#: Types that a house usually makes (common practice; how much a bar may be over its weight is the house's own).
#: Market bars weigh 350 to 430 ozt of gold of 995 at least, 750 to 1100 ozt of silver of 999 (LBMA Good Delivery
#: Rules; the limits of gold are of fine weight there, of gross here). An ounce bar is never below 31.1034768 g.
USUAL = (
    _gold("1", "1 g", 1_000, 10),
    _gold("2.5", "2.5 g", 2_500, 10),
    _gold("5", "5 g", 5_000, 10),
    _gold("10", "10 g", 10_000, 10),
    _gold("20", "20 g", 20_000, 10),
    _gold("1OZT", "1 ozt", 31_104, 20),
    _gold("50", "50 g", 50_000, 20),
    _gold("100", "100 g", 100_000, 20),
    _gold("250", "250 g", 250_000, 50),
    _gold("500", "500 g", 500_000, 50),
    _gold("1000", "1 kg", 1_000_000, 50),
    Usual("AU-400OZT", "400 ozt gold", "Au", 10_886_217, 13_374_495, 995_000, Making.CAST),
    _nominal("AG-1000", "1 kg silver", "Ag", 1_000_000, 1_000, 999_000, "FINE SILVER"),
    Usual("AG-1000OZT", "1000 ozt silver", "Ag", 23_327_608, 34_213_824, 999_000, Making.CAST),
)


def making_of(nominal_mg: int) -> Making:
    """How bars of this nominal weight, milligrams, are made by common practice."""
    return Making.STRUCK if nominal_mg <= STRUCK_UP_TO_MG else Making.CAST


def to_file_mg(weighed_mg: int, least_mg: int, most_mg: int) -> int:
    """How much is to be filed off a blank or a bar, milligrams: down to the most that it may weigh, never below.

    Zero where it lies within. Raises ``Refused`` for one that is too light: metal is not put back by filing.
    """
    if weighed_mg < least_mg:
        raise Refused(
            f"It weighs {format_grams(weighed_mg)} g, {format_grams(least_mg - weighed_mg)} g too little: a bar is"
            " never below its weight. Remelt it.",
            field="gross",
        )
    return max(weighed_mg - most_mg, 0)
