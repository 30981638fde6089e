"""What a bar weighs in troy ounces by the published rule of its market, for bar lists and dispatch notes.

Sources: LBMA Good Delivery Rules for bars of London size (gold in multiples of 0.025 ozt, silver of 0.1 ozt, rounded
down; fineness to four figures; fine weight to 0.001 ozt, Annex C); the agreed fine content of small gold bars (see
``agreed_fine``). Any other bar is told as it weighs, to 0.001 ozt.
"""

from dataclasses import dataclass
from decimal import Decimal

from custody.calc.agreed_fine import AGREED_FINE_OZT
from custody.calc.bar_sizes import LONDON_OZT, nominal_size
from custody.calc.bars import GOLD_STEP, SILVER_STEP, fine_ozt, london_gross_ozt
from custody.calc.mass import TROY_OUNCE, TROY_OUNCE_PARTS
from custody.calc.refusals import Refused
from custody.calc.rounding import half_up
from custody.terms import PPM

#: A London silver bar weighs between 750 and 1 100 troy ounces gross (LBMA Good Delivery Rules).
LONDON_SILVER_OZT = (750, 1100)
#: Least fineness of a London bar, ppm (LBMA Good Delivery Rules).
LEAST_PPM = {"Au": 995_000, "Ag": 999_000}
#: Four figures are marked, and 999.9 at most.
HIGHEST_PPM, MARK_STEP = 999_900, 100

BY_WEIGHT = "as weighed, to 0.001 ozt"
LONDON_GOLD = "London, gross down to 0.025 ozt"
LONDON_SILVER = "London, gross down to 0.1 ozt"
AGREED = "agreed fine content"


@dataclass(frozen=True, slots=True)
class MarketWeight:
    """Gross and fine in troy ounces with three decimals, and the rule in words."""

    gross_ozt: Decimal
    fine_ozt: Decimal
    rule: str


def market_weight(metal: str, gross_mg: int, fine_mg: int) -> MarketWeight:
    """The weights of a bar of a metal in troy ounces, from its gross and fine milligrams.

    Raises ``Refused`` for no gross, and for more fine than gross.
    """
    if not 0 <= fine_mg <= gross_mg or not gross_mg:
        raise Refused("A bar weighs something, and no more of it is fine than it weighs.", field="gross")
    ppm = fine_mg * PPM // gross_mg
    marked = min(ppm - ppm % MARK_STEP, HIGHEST_PPM)
    for of_metal, (low, high), step, rule in (
        ("Au", LONDON_OZT, GOLD_STEP, LONDON_GOLD),
        ("Ag", LONDON_SILVER_OZT, SILVER_STEP, LONDON_SILVER),
    ):
        sized = low * TROY_OUNCE <= gross_mg * TROY_OUNCE_PARTS <= high * TROY_OUNCE
        if metal == of_metal and sized and ppm >= LEAST_PPM[metal]:
            gross = london_gross_ozt(gross_mg, step=step)
            return MarketWeight(gross, fine_ozt(gross, marked), rule)
    agreed = AGREED_FINE_OZT.get(nominal_size(gross_mg), {}) if metal == "Au" else {}
    named = [fineness for fineness in agreed if fineness <= ppm]
    if named:
        return MarketWeight(_weighed(gross_mg), agreed[max(named)], AGREED)
    return MarketWeight(_weighed(gross_mg), _weighed(fine_mg), BY_WEIGHT)


def _weighed(mg: int) -> Decimal:
    return Decimal(half_up(mg * TROY_OUNCE_PARTS * 1000, TROY_OUNCE)).scaleb(-3)
