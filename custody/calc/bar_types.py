"""How a bar is made, and whether it weighs and holds what its type asks."""

from custody.calc.fineness import format_per_mille
from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.terms import PPM, Term


class Making(Term):
    """How a bar is made: struck from a blank of strip, or cast singly."""

    STRUCK = "struck"
    CAST = "cast"


#: Up to this nominal weight bars are struck from strip; above it they are cast singly (common practice).
STRUCK_UP_TO_MG = 100_000


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


def check_bar(gross_mg: int, fine_mg: int, *, least_mg: int, most_mg: int, least_ppm: int) -> None:
    """Raises ``Refused`` for a bar outside its type's weight, or that holds less fine metal than its fineness asks."""
    if to_file_mg(gross_mg, least_mg, most_mg):
        raise Refused(
            f"It weighs {format_grams(gross_mg)} g, {format_grams(gross_mg - most_mg)} g more than its type allows:"
            " adjust it.",
            field="gross",
        )
    if fine_mg * PPM < gross_mg * least_ppm:
        raise Refused(f"It holds less than {format_per_mille(least_ppm)}.", field="fineness")
