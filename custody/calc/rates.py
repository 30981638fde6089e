"""Money per unit of mass, and one amount of a statement with the formula by which it came about."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from custody.calc.mass import TROY_OUNCE, TROY_OUNCE_PARTS, format_grams
from custody.calc.money import checked_amount, format_money, in_cents
from custody.terms import MG_PER_GRAM

TIMES = "\u00d7"
LESS = "\u2212"
OVER = "\u00f7"


class Unit(StrEnum):
    """The unit of mass that a price or charge is quoted for."""

    GRAM = "g"
    TROY_OUNCE = "ozt"


@dataclass(frozen=True, slots=True)
class Rate:
    """An amount of money per unit of mass."""

    amount: Decimal
    per: Unit = Unit.GRAM

    def __post_init__(self) -> None:
        checked_amount(self.amount, "rate")

    def on(self, mg: int) -> Decimal:
        """The money for so many milligrams, rounded half to even to 0.01: the only rounding of a line."""
        numerator, denominator = self.amount.as_integer_ratio()
        if self.per is Unit.TROY_OUNCE:
            return in_cents(mg * TROY_OUNCE_PARTS * numerator, TROY_OUNCE * denominator)
        return in_cents(mg * numerator, MG_PER_GRAM * denominator)


@dataclass(frozen=True, slots=True)
class MoneyLine:
    """One amount: positive is owed to the customer, negative is a charge. ``metal`` is empty when it is for none."""

    what: str
    metal: str
    amount: Decimal
    formula: str


def rated(what: str, metal: str, rate: Rate, mg: int, currency: str) -> MoneyLine:
    """The amount for so many milligrams at a rate, with its formula."""
    amount = rate.on(mg)
    ounce = f" {OVER} 31.1034768 g/ozt" if rate.per is Unit.TROY_OUNCE else ""
    formula = (
        f"{format_grams(mg)} g{ounce} {TIMES} {rate.amount:f} {currency}/{rate.per.value}"
        f" = {format_money(amount)} {currency}, rounded half to even to 0.01"
    )
    return MoneyLine(what, metal, amount, formula)


def lump(what: str, amount: Decimal, currency: str) -> MoneyLine:
    """An amount that follows from no weight."""
    cents = in_cents(*amount.as_integer_ratio())
    return MoneyLine(what, "", cents, f"lump sum {format_money(cents)} {currency}")


def as_charge(line: MoneyLine) -> MoneyLine:
    """The same line as a charge: what the customer owes is negative."""
    return MoneyLine(line.what, line.metal, -line.amount, line.formula)
