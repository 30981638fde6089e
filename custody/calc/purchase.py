"""What metal bought at the counter costs: net grams, an indicated fineness, a price a fine gram and the share paid."""

from decimal import Decimal

from custody.calc.fineness import format_per_mille
from custody.calc.mass import format_grams
from custody.calc.money import checked_amount, format_money, in_cents
from custody.calc.price import DECIMALS, quoted_price
from custody.calc.refusals import Refused
from custody.terms import PPM

TIMES = "×"


def amount(net_mg: int, indicated_ppm: int, price_per_g: Decimal, payable_ppm: int) -> Decimal:
    """Net milligrams × fineness × price of a fine gram × share paid, rounded half to even to 0.01, once.

    PostgreSQL reckons the same (sql/counter.sql). Raises Refused for a mass, fineness or share that is none, and for a
    price of zero or with more than four decimals.
    """
    if net_mg <= 0:
        raise Refused("A parcel that is bought weighs something.", field="gross")
    for ppm, what in ((indicated_ppm, "indicated"), (payable_ppm, "payable")):
        if not 0 < ppm <= PPM:
            raise Refused("A fineness and a share paid are more than 0 and at most the whole.", field=what)
    price = checked_amount(price_per_g, "price", decimals=DECIMALS)
    if not price:
        raise Refused("The price is zero: that is no purchase.", field="price")
    steps = int(price.scaleb(DECIMALS))
    return in_cents(net_mg * indicated_ppm * steps * payable_ppm, 1000 * PPM * 10**DECIMALS * PPM)


def formula(net_mg: int, indicated_ppm: int, price_per_g: Decimal, payable_ppm: int, currency: str) -> str:
    """How the amount comes about, in keys of a pocket calculator."""
    due = amount(net_mg, indicated_ppm, price_per_g, payable_ppm)
    return (
        f"{format_grams(net_mg)} g {TIMES} {_decimal(indicated_ppm)} {TIMES} {quoted_price(price_per_g):f} {currency}/g"
        f" {TIMES} {_decimal(payable_ppm)} = {format_money(due)} {currency}"
    )


def fineness_words(indicated_ppm: int, method: str) -> str:
    """The fineness that a parcel is bought by, and what indicated it."""
    return f"{format_per_mille(indicated_ppm)} ‰, {method}"


def _decimal(ppm: int) -> str:
    return f"{Decimal(ppm).scaleb(-6).normalize():f}"
