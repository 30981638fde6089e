"""At which price a metal is settled: one fixing, the mean of several days, or parts fixed on the customer's call.

Nothing here knows a market: prices are rows of a table with their source. Exact: Decimal in, one named rounding out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from custody.calc.money import checked_amount
from custody.calc.rates import Rate, Unit
from custody.calc.refusals import Refused
from custody.calc.rounding import to_places
from custody.terms import PPM

#: A mean of prices keeps so many decimals, halves to the even digit.
MEAN_DECIMALS = 4


@dataclass(frozen=True, slots=True)
class Quote:
    """One price as it was published: metal, day, which fixing, money per unit, and where it stands written."""

    metal: str
    day: date
    fixing: str
    amount: Decimal
    per: Unit
    currency: str
    source: str

    def __post_init__(self) -> None:
        checked_amount(self.amount, "price")
        if not self.source.strip():
            raise Refused("A price says where it was read.", field="source")


def mean_of(quotes: Sequence[Quote]) -> Rate:
    """The mean of several days' prices, to four decimals, halves to the even digit, once.

    Raises ``Refused`` for none, and for prices of different metals, fixings, units or currencies, or of one day twice.
    """
    if not quotes:
        raise Refused("There is no price of these days.", field="price")
    kinds = {(quote.metal, quote.fixing, quote.per, quote.currency) for quote in quotes}
    days = {quote.day for quote in quotes}
    if len(kinds) > 1 or len(days) < len(quotes):
        raise Refused("A mean is of one metal, one fixing, one unit and one currency, each day once.", field="price")
    total = sum((Fraction(quote.amount) for quote in quotes), Fraction(0))
    return Rate(to_places(total / len(quotes), MEAN_DECIMALS), quotes[0].per)


def missing_days(quotes: Sequence[Quote], wanted: Sequence[date]) -> list[date]:
    """The days of a period of quotation that have no price, in order."""
    known = {quote.day for quote in quotes}
    return [day for day in sorted(set(wanted)) if day not in known]


def doubtful(now: Decimal, before: Decimal, limit_ppm: int) -> bool:
    """Whether a price lies further from the one before it than the limit, ppm of that one."""
    return abs(Fraction(now) - Fraction(before)) * PPM > Fraction(before) * limit_ppm


@dataclass(frozen=True, slots=True)
class Fixed:
    """So many milligrams fixed on the customer's call at a price."""

    mg: int
    quote: Quote


def open_position_mg(payable_mg: int, fixed: Sequence[Fixed]) -> int:
    """What of the payable metal has no price yet, milligrams. Raises ``Refused`` where more is fixed than that."""
    if any(part.mg <= 0 for part in fixed):
        raise Refused("A part that is fixed is more than zero.", field="mg")
    left = payable_mg - sum(part.mg for part in fixed)
    if left < 0:
        raise Refused("More metal is fixed than is payable.", field="mg")
    return left
