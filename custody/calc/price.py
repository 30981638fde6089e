"""Reading the price of a metal as typed: understood or refused, never guessed."""

from decimal import Decimal

from custody.calc.money import LARGEST
from custody.calc.reading import clean, quoted, refuse_zero, scaled
from custody.calc.refusals import Refused

#: The book keeps a price with so many decimals; more of them would be rounded away unseen.
DECIMALS = 4
EXAMPLE = "2412.50"


def parse_price(text: str, *, what: str = "price") -> Decimal:
    """Money per unit of mass from a plain decimal number with at most four decimals.

    Raises Unreadable for anything else, Refused for zero and for a thousand million or more.
    """
    number = clean(text, what=what, example=EXAMPLE)
    value = scaled(number, decimals=DECIMALS, most=DECIMALS, what=what, example=EXAMPLE)
    refuse_zero(value, what=what, example=EXAMPLE)
    price = quoted_price(Decimal(value).scaleb(-DECIMALS))
    if price >= LARGEST:
        raise Refused(f"The {what} {quoted(number)} is {LARGEST} or more. Check the decimal point.", field=what)
    return price


def quoted_price(price: Decimal) -> Decimal:
    """A price as it is quoted: two decimals, more only where they say something. The value is the same."""
    cents = price.quantize(Decimal("0.01"))
    return cents if cents == price else price.normalize()
