"""Money: Decimal with two decimals, made from whole cents. No float, and no rounding without a name."""

from decimal import Decimal

from custody.calc.mass import GROUP, MINUS
from custody.calc.refusals import Refused
from custody.calc.rounding import half_even

LARGEST = 10**9
SMALLEST_PLACE = 6


def checked_amount(amount: Decimal, field: str, *, decimals: int = SMALLEST_PLACE) -> Decimal:
    """The amount, if it is a Decimal of zero or more, below a thousand million, with so many decimals at most.

    Raises Refused for anything else: NaN, infinity, a negative, a float.
    """
    if not isinstance(amount, Decimal) or not amount.is_finite() or not 0 <= amount < LARGEST:
        raise Refused(f"The {field} is a number from 0 to {LARGEST - 1}.", field=field)
    if amount != amount.quantize(Decimal(1).scaleb(-decimals)):
        raise Refused(f"The {field} has at most {decimals} decimals.", field=field)
    return amount


def in_cents(numerator: int, denominator: int) -> Decimal:
    """An exact fraction as money: rounded half to even to 0.01."""
    return Decimal(half_even(numerator * 100, denominator)).scaleb(-2)


def format_money(amount: Decimal) -> str:
    """An amount with two decimals, narrow spaces between thousands and a true minus. More decimals are refused.

    Raises Refused for an amount with a fraction of a cent.
    """
    cents = amount.scaleb(2)
    if cents != int(cents):
        raise Refused("An amount of money has at most two decimals.", field="amount")
    whole, fraction = divmod(abs(int(cents)), 100)
    return f"{MINUS if cents < 0 else ''}{whole:,}".replace(",", GROUP) + f".{fraction:02d}"
