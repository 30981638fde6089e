"""Weights of bars as the London market states them, in troy ounces.

Ounces here are ``Decimal`` with a fixed number of decimals, made from whole numbers. Sources: LBMA Good
Delivery Rules (gold in multiples of 0.025 ozt and silver of 0.1 ozt, rounded down; fineness to four significant
figures), Annex B (beam balance), Annex C (weight lists: fine weight to 0.001 ozt).
"""

from dataclasses import dataclass
from decimal import Decimal

from custody.calc.agreed_fine import AGREED_FINE_OZT
from custody.calc.bar_sizes import nominal_size
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


@dataclass(frozen=True, slots=True)
class Stated:
    """How the market states a bar: its gross in troy ounces, its mark of fineness, its fine ounces, by which rule."""

    gross_ozt: Decimal
    mark: str
    fine_ozt: Decimal
    rule: str


#: Gross weights of market bars, ozt: gold (its limits are of fine weight: the bar is judged by that) and silver.
MARKET_GOLD = (350, 430)
MARKET_SILVER = (750, 1100)


def stated(metal: str, gross_mg: int, ppm: int, nominal_mg: int | None = None) -> Stated:
    """A bar as the market states it, from its gross in milligrams and its fineness in ppm, as the book has them.

    Gold of 350 to 430 fine ounces and silver of 750 to 1100 ounces by the weight lists: gross rounded down, times the
    mark of fineness (LBMA Good Delivery Rules). A small gold bar that weighs its nominal weight at least holds its
    agreed fine content. Every other bar by arithmetic, fine ounces rounded down to 0.001 ozt, gross to the nearest.

    Raises Refused as ``mark_fineness``.
    """
    mark = mark_fineness(ppm)
    marked = int(mark.replace(".", "")) * 100
    step = {"Au": GOLD_STEP, "Ag": SILVER_STEP}.get(metal)
    if step:
        gross = london_gross_ozt(gross_mg, step=step)
        fine = fine_ozt(gross, marked)
        least, most = MARKET_GOLD if metal == "Au" else MARKET_SILVER
        if least <= (fine if metal == "Au" else gross) <= most:
            down_to = "0.025" if metal == "Au" else "0.1"
            return Stated(gross, mark, fine, f"weight list: gross rounded down to {down_to} ozt, fine to 0.001 ozt")
    gross = _ounces(half_up(gross_mg * 1000 * TROY_OUNCE_PARTS, TROY_OUNCE))
    nominal = nominal_size(nominal_mg or gross_mg)
    if metal == "Au" and marked in AGREED_FINE_OZT.get(nominal, ()) and _not_under(nominal, gross_mg):
        return Stated(gross, mark, agreed_fine_ozt(nominal, marked), f"agreed fine content of a bar of {nominal}")
    exact = down(gross_mg * marked * 1000 * TROY_OUNCE_PARTS, TROY_OUNCE * PPM)
    return Stated(gross, mark, _ounces(exact), "by arithmetic, rounded down to 0.001 ozt")


def _not_under(nominal: str, gross_mg: int) -> bool:
    """Whether a bar weighs its nominal weight, written like ``"1 kg"`` or ``"1 ozt"``."""
    number, unit = nominal.split()
    size = {"kg": 1_000_000 * TROY_OUNCE_PARTS, "g": 1_000 * TROY_OUNCE_PARTS, "ozt": TROY_OUNCE}[unit]
    return gross_mg * TROY_OUNCE_PARTS >= int(number) * size


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
