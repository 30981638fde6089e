"""What a refinery charges beside the refining of each metal: handling, treatment, assays, small lots, penalties, tax.

Every line says how it came about; each is rounded once, half to even to 0.01. The minimum is reckoned before tax.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from custody.calc.fineness import format_percent
from custody.calc.mass import format_grams
from custody.calc.money import checked_amount, format_money, in_cents
from custody.calc.penalties import Schedule, penalties
from custody.calc.rates import LESS, TIMES, MoneyLine, Rate, as_charge, lump, rated
from custody.calc.refusals import Refused
from custody.terms import PPM


@dataclass(frozen=True, slots=True)
class SmallLot:
    """A charge once for a receipt that weighs less than so many milligrams gross."""

    below_mg: int
    amount: Decimal

    def __post_init__(self) -> None:
        checked_amount(self.amount, "small-lot charge", decimals=2)
        if self.below_mg <= 0:
            raise Refused("A small lot weighs less than a weight above zero.", field="small_lot")


@dataclass(frozen=True, slots=True)
class Charges:
    """What is agreed beside the metals.

    ``handling`` is charged per unit of gross weight, ``treatment`` once, ``assay`` for each assay, ``small_lot`` once;
    ``penalties`` by impurity. With the refining charges they come to at least ``minimum``; ``tax_ppm`` is on top.
    """

    handling: Rate | None = None
    treatment: Decimal = Decimal(0)
    assay: Decimal = Decimal(0)
    small_lot: SmallLot | None = None
    penalties: tuple[Schedule, ...] = ()
    minimum: Decimal = Decimal(0)
    tax_ppm: int = 0

    def __post_init__(self) -> None:
        checked_amount(self.treatment, "treatment", decimals=2)
        checked_amount(self.assay, "assay charge", decimals=2)
        checked_amount(self.minimum, "minimum", decimals=2)
        if not 0 <= self.tax_ppm <= PPM:
            raise Refused("A tax lies between 0 and 100 %.", field="tax")


@dataclass(frozen=True, slots=True)
class Facts:
    """What a receipt is charged for beside its metals: how many assays were made, and its impurities, ppm of gross."""

    assays: int = 0
    impurities_ppm: Mapping[str, int] | None = None
    more: tuple[MoneyLine, ...] = ()


def charge_lines(
    gross_mg: int, refining: Sequence[MoneyLine], agreed: Charges, facts: Facts, currency: str
) -> tuple[MoneyLine, ...]:
    """All charges of a receipt, refining first; ``facts.more`` are charges as they were found, as an umpire's.

    Raises ``Refused`` for an impurity that is agreed and was not measured, or is not accepted.
    """
    lines = list(refining)
    if agreed.handling is not None:
        lines.append(as_charge(rated("Handling, on gross weight", "", agreed.handling, gross_mg, currency)))
    if agreed.treatment:
        lines.append(as_charge(lump("Treatment", agreed.treatment, currency)))
    if agreed.assay and facts.assays:
        lines.append(as_charge(_assays(agreed.assay, facts.assays, currency)))
    if agreed.small_lot is not None and gross_mg < agreed.small_lot.below_mg:
        what = f"Small lot, under {format_grams(agreed.small_lot.below_mg)} g"
        lines.append(as_charge(lump(what, agreed.small_lot.amount, currency)))
    lines += penalties(gross_mg, facts.impurities_ppm or {}, agreed.penalties, currency)
    lines += facts.more
    charged = -sum((line.amount for line in lines), Decimal("0.00"))
    if charged < agreed.minimum:
        lines.append(_up_to(agreed.minimum, charged, currency))
    if agreed.tax_ppm:
        lines.append(_tax(max(charged, agreed.minimum), agreed.tax_ppm, currency))
    return tuple(lines)


def advance(due: Decimal, share_ppm: int) -> Decimal:
    """What is paid in advance of a provisional amount: its share, rounded down to 0.01; nothing of a debt."""
    if due <= 0:
        return Decimal("0.00")
    numerator, denominator = due.as_integer_ratio()
    return Decimal(numerator * share_ppm * 100 // (denominator * PPM)).scaleb(-2)


def _assays(each: Decimal, count: int, currency: str) -> MoneyLine:
    amount = in_cents(*(each * count).as_integer_ratio())
    formula = f"{count} {TIMES} {format_money(each)} = {format_money(amount)} {currency}"
    return MoneyLine("Assays", "", amount, formula)


def _up_to(minimum: Decimal, charged: Decimal, currency: str) -> MoneyLine:
    formula = (
        f"minimum {format_money(minimum)} {LESS} charged {format_money(charged)}"
        f" = {format_money(minimum - charged)} {currency}"
    )
    return as_charge(MoneyLine("Up to the minimum charge", "", minimum - charged, formula))


def _tax(charged: Decimal, ppm: int, currency: str) -> MoneyLine:
    numerator, denominator = charged.as_integer_ratio()
    amount = in_cents(numerator * ppm, denominator * PPM)
    formula = (
        f"{format_money(charged)} {TIMES} {format_percent(ppm)} % = {format_money(amount)} {currency},"
        " rounded half to even to 0.01"
    )
    return as_charge(MoneyLine("Tax on charges", "", amount, formula))
