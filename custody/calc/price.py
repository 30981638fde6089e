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
    price = Decimal(value).scaleb(-DECIMALS)
    if price >= LARGEST:
        raise Refused(f"The {what} {quoted(number)} is {LARGEST} or more. Check the decimal point.", field=what)
    return price
