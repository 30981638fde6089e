"""Weights of bars as the London market states them, in troy ounces.

Ounces here are ``Decimal`` with a fixed number of decimals, made from whole numbers. Sources: LBMA Good
Delivery Rules (gold in multiples of 0.025 ozt and silver of 0.1 ozt, rounded down; fineness to four significant
figures), Annex B (beam balance), Annex C (weight lists: fine weight to 0.001 ozt).
"""

from decimal import Decimal

from custody.calc.agreed_fine import AGREED_FINE_OZT
from custody.calc.fineness import format_per_mille
from custody.calc.mass import TROY_OUNCE, TROY_OUNCE_PARTS
from custody.calc.refusals import Refused
from custody.calc.rounding import down, half_up
from custody.terms import PPM

#: Steps of the stated gross weight, in thousandths of a troy ounce.
GOLD_STEP = 25
SILVER_STEP = 100

#: A bar on the beam balance must turn the scale by two divisions of 0.001 ozt over the stated weight.
BEAM_TURN = 2

#: Four nines are the most that a London bar is marked with (from memory), in tenths of a per mille.
HIGHEST_MARK = 9_999


def london_gross_ozt(gross_mg: int, *, step: int = GOLD_STEP) -> Decimal:
    """The stated gross weight in troy ounces: the dead weight rounded down to the step, 0.025 ozt for gold.

    Raises Refused for a negative weight.
    """
    _not_negative(gross_mg)
    return _ounces(down(gross_mg * 1000 * TROY_OUNCE_PARTS, TROY_OUNCE, step=step))


def beam_balance_ozt(dead_weight_ozt: Decimal) -> Decimal:
    """The stated gross weight of a gold bar from its dead weight on the beam balance, both in troy ounces.

    Rounded down to 0.025 ozt after taking off the 0.002 ozt by which the bar must turn the scale.
    Raises Refused for a weight that the balance cannot show: less than 0.002 ozt, or more than three decimals.
    """
    dead = _thousandths(dead_weight_ozt)
    if dead < BEAM_TURN:
        raise Refused("A bar must turn the beam balance by at least 0.002 ozt.", field="gross")
    return _ounces(down(dead - BEAM_TURN, 1, step=GOLD_STEP))


def fine_ozt(gross_ozt: Decimal, ppm: int) -> Decimal:
    """The fine weight of a weight list: gross ounces times fineness, to 0.001 ozt, halves up.

    Raises Refused for a negative weight, more than three decimals of it, or a fineness outside 0 to 1000.
    """
    if not 0 <= ppm <= PPM:
        raise Refused("A fineness lies between 0 and 1000 per mille.", field="fineness")
    return _ounces(half_up(_thousandths(gross_ozt) * ppm, PPM))


def agreed_fine_ozt(nominal: str, ppm: int) -> Decimal:
    """The agreed fine gold content of a small bar, in troy ounces, by its nominal weight, like ``"1 kg"``.

    A table, not a formula: see ``agreed_fine``. Raises Refused for a bar that is not in it.
    """
    try:
        return AGREED_FINE_OZT[nominal][ppm]
    except KeyError:
        raise Refused(
            f"No fine content is agreed for a bar of {nominal} at {format_per_mille(ppm)}.", field="bar"
        ) from None


def mark_fineness(ppm: int) -> str:
    """The fineness to stamp, in per mille to one decimal: four significant figures, never rounded up.

    Above 999.9 the mark stays 999.9. Raises Refused below 100.0, where the mark would have fewer figures.
    """
    tenths = min(down(ppm, PPM // 10_000), HIGHEST_MARK)
    if tenths < 1000:
        raise Refused("A bar is marked with four figures of fineness, so from 100.0 per mille.", field="fineness")
    return f"{tenths // 10}.{tenths % 10}"


def _thousandths(ounces: Decimal) -> int:
    """A weight in ounces as a whole count of 0.001 ozt. More decimals are refused, never rounded away."""
    if not ounces.is_finite() or not 0 <= ounces < 10**9:
        raise Refused("A weight in troy ounces is a number of zero or more.", field="gross")
    stated = ounces.quantize(Decimal("0.001"))
    if stated != ounces:
        raise Refused("A weight in troy ounces has at most three decimals.", field="gross")
    return int(stated.scaleb(3))


def _ounces(thousandths: int) -> Decimal:
    return Decimal(thousandths).scaleb(-3)


def _not_negative(gross_mg: int) -> None:
    if gross_mg < 0:
        raise Refused("A gross weight is never negative.", field="gross")
