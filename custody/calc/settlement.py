"""What the refinery owes for one receipt: metal by metal, then money, every rounding named where it happens.

Per metal: payable + retained + returned = settled content, to the milligram. The agreed share of the content is
rounded down to a step (one milligram unless agreed otherwise) and is either paid for (outturn money) or given
back (outturn metal); the rest stays with the refinery. Every line carries the formula that a customer can
repeat on a pocket calculator: its inputs are the figures as printed, and its rounding is said.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from custody.calc.fineness import format_percent
from custody.calc.mass import TROY_OUNCE, TROY_OUNCE_PARTS, format_grams
from custody.calc.money import checked_amount, format_money, in_cents
from custody.calc.refusals import Refused
from custody.calc.rounding import down
from custody.terms import METALS, MG_PER_GRAM, PPM, Outturn

TIMES = "\u00d7"
LESS = "\u2212"
OVER = "\u00f7"


class Unit(StrEnum):
    """The unit of mass that a price or charge is quoted for."""

    GRAM = "g"
    TROY_OUNCE = "ozt"


class ChargedOn(StrEnum):
    """Which mass a refining charge is reckoned on."""

    CONTENT = "settled content"
    PAYABLE = "payable or returned metal"


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
class MetalTerms:
    """What is agreed for one metal.

    ``payable_ppm`` is the share of the settled content that is paid for or returned (98 % is 980 000), rounded
    down to ``step_mg``. ``price`` is needed for an outturn in money. ``refining`` is charged per gram or troy
    ounce of fine metal, on the content or on the payable or returned metal.
    """

    metal: str
    payable_ppm: int
    outturn: Outturn = Outturn.MONEY
    price: Rate | None = None
    refining: Rate | None = None
    refining_on: ChargedOn = ChargedOn.CONTENT
    step_mg: int = 1

    def __post_init__(self) -> None:
        if self.metal not in METALS:
            raise Refused(f"{self.metal} is no metal of account.", field="metal")
        if not 0 <= self.payable_ppm <= PPM:
            raise Refused(f"The payable share of {self.metal} lies between 0 and 100 %.", field="payable")
        if self.step_mg < 1:
            raise Refused(f"The payable step of {self.metal} is at least one milligram.", field="step")
        if self.outturn is Outturn.MONEY and self.payable_ppm and self.price is None:
            raise Refused(f"{self.metal} is settled in money and needs a price.", field="price")


@dataclass(frozen=True, slots=True)
class Terms:
    """What is agreed for one settlement: metals, currency (ISO 4217), and charges in that currency.

    ``handling`` is charged per gram or troy ounce of gross weight, ``treatment`` once, and together with the
    refining charges they come to at least ``minimum``.
    """

    currency: str
    metals: tuple[MetalTerms, ...]
    handling: Rate | None = None
    treatment: Decimal = Decimal(0)
    minimum: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        if not (len(self.currency) == 3 and self.currency.isascii() and self.currency.isupper()):
            raise Refused("A currency is three capital letters, like USD.", field="currency")
        named = [terms.metal for terms in self.metals]
        if len(named) != len(set(named)):
            raise Refused("Each metal is agreed once.", field="metal")
        checked_amount(self.treatment, "treatment", decimals=2)
        checked_amount(self.minimum, "minimum", decimals=2)


@dataclass(frozen=True, slots=True)
class MetalLine:
    """One metal of a settlement, in milligrams: payable + retained + returned = content."""

    metal: str
    content_mg: int
    payable_mg: int
    returned_mg: int
    retained_mg: int
    formula: str


@dataclass(frozen=True, slots=True)
class MoneyLine:
    """One amount: positive is owed to the customer, negative is a charge. ``metal`` is empty when it is for none."""

    what: str
    metal: str
    amount: Decimal
    formula: str


@dataclass(frozen=True, slots=True)
class Settlement:
    """A whole settlement. ``total`` is the sum of the values and charges; negative, the customer owes it."""

    currency: str
    metals: tuple[MetalLine, ...]
    values: tuple[MoneyLine, ...]
    charges: tuple[MoneyLine, ...]
    total: Decimal


def settle(gross_mg: int, content_mg: Mapping[str, int], terms: Terms) -> Settlement:
    """Settle a receipt of ``gross_mg`` with the settled content of each metal, in milligrams, by the terms.

    Raises Refused for a negative content, for more metal than gross, and for a metal that is there but not agreed:
    a share of 0 % says that the refinery keeps it.
    """
    _check(gross_mg, content_mg, terms)
    agreed = sorted(terms.metals, key=lambda line: METALS.index(line.metal))
    metals = tuple(_metal_line(line, content_mg.get(line.metal, 0)) for line in agreed)
    values = tuple(
        _value(line.price, settled, terms.currency)
        for line, settled in zip(agreed, metals, strict=True)
        if line.price is not None and settled.payable_mg
    )
    charges = _charges(gross_mg, agreed, metals, terms)
    total = sum((line.amount for line in (*values, *charges)), Decimal("0.00"))
    return Settlement(currency=terms.currency, metals=metals, values=values, charges=charges, total=total)


def _check(gross_mg: int, content_mg: Mapping[str, int], terms: Terms) -> None:
    if any(mg < 0 for mg in content_mg.values()):
        raise Refused("A settled content is never negative.", field="content")
    if sum(content_mg.values()) > gross_mg:
        raise Refused("The settled metals weigh more than the gross weight.", field="content")
    agreed = {line.metal for line in terms.metals}
    for metal, mg in content_mg.items():
        if mg and metal not in agreed:
            raise Refused(
                f"Nothing is agreed for {metal}. Agree a payable share; 0 % where the refinery keeps it.",
                field=metal,
            )


def _metal_line(terms: MetalTerms, content: int) -> MetalLine:
    due = down(content * terms.payable_ppm, PPM, step=terms.step_mg)
    in_money = terms.outturn is Outturn.MONEY
    word = "payable" if in_money else "returned"
    formula = (
        f"{format_grams(content)} g {TIMES} {format_percent(terms.payable_ppm)} %"
        f" = {format_grams(due)} g {word}, rounded down to {format_grams(terms.step_mg)} g;"
        f" retained {format_grams(content)} {LESS} {format_grams(due)} = {format_grams(content - due)} g"
    )
    return MetalLine(
        metal=terms.metal,
        content_mg=content,
        payable_mg=due if in_money else 0,
        returned_mg=0 if in_money else due,
        retained_mg=content - due,
        formula=formula,
    )


def _value(price: Rate, line: MetalLine, currency: str) -> MoneyLine:
    return rated(f"{line.metal} payable", line.metal, price, line.payable_mg, currency)


def _charges(
    gross_mg: int, agreed: list[MetalTerms], metals: tuple[MetalLine, ...], terms: Terms
) -> tuple[MoneyLine, ...]:
    lines = []
    for line, settled in zip(agreed, metals, strict=True):
        on_content = line.refining_on is ChargedOn.CONTENT
        mg = settled.content_mg if on_content else settled.payable_mg + settled.returned_mg
        if line.refining is not None and mg:
            what = f"{line.metal} refining, on {line.refining_on.value}"
            lines.append(as_charge(rated(what, line.metal, line.refining, mg, terms.currency)))
    if terms.handling is not None:
        lines.append(as_charge(rated("Handling, on gross weight", "", terms.handling, gross_mg, terms.currency)))
    if terms.treatment:
        amount = in_cents(*terms.treatment.as_integer_ratio())
        formula = f"lump sum {format_money(amount)} {terms.currency}"
        lines.append(as_charge(MoneyLine("Treatment", "", amount, formula)))
    charged = -sum((line.amount for line in lines), Decimal("0.00"))
    if charged < terms.minimum:
        formula = (
            f"minimum {format_money(terms.minimum)} {LESS} charged {format_money(charged)}"
            f" = {format_money(terms.minimum - charged)} {terms.currency}"
        )
        lines.append(as_charge(MoneyLine("Up to the minimum charge", "", terms.minimum - charged, formula)))
    return tuple(lines)


def rated(what: str, metal: str, rate: Rate, mg: int, currency: str) -> MoneyLine:
    """The amount for so many milligrams at a rate, with its formula."""
    amount = rate.on(mg)
    ounce = f" {OVER} 31.1034768 g/ozt" if rate.per is Unit.TROY_OUNCE else ""
    formula = (
        f"{format_grams(mg)} g{ounce} {TIMES} {rate.amount:f} {currency}/{rate.per.value}"
        f" = {format_money(amount)} {currency}, rounded half to even to 0.01"
    )
    return MoneyLine(what, metal, amount, formula)


def as_charge(line: MoneyLine) -> MoneyLine:
    """The same line as a charge: what the customer owes is negative."""
    return MoneyLine(line.what, line.metal, -line.amount, line.formula)
