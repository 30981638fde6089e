"""What the refinery owes for one receipt: metal by metal, then money, every rounding named where it happens.

Per metal: payable + retained + returned = settled content, to the milligram. The agreed share of the content is
rounded down to a step (one milligram unless agreed otherwise) and is either paid for (outturn money) or given
back (outturn metal); the rest stays with the refinery. Every line carries the formula that a customer can
repeat on a pocket calculator: its inputs are the figures as printed, and its rounding is said.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from custody.calc.accountability import Accountability
from custody.calc.charges import Charges, Facts, charge_lines
from custody.calc.mass import format_grams
from custody.calc.rates import LESS, MoneyLine, Rate, as_charge, rated
from custody.calc.refusals import Refused
from custody.terms import METALS, Outturn


class ChargedOn(StrEnum):
    """Which mass a refining charge is reckoned on."""

    CONTENT = "settled content"
    PAYABLE = "payable or returned metal"


@dataclass(frozen=True, slots=True)
class MetalTerms:
    """What is agreed for one metal.

    ``accounts`` says what of the settled content is paid for or returned. ``price`` is needed for an outturn in money.
    ``refining`` is charged per gram or troy ounce of fine metal, on the content or on the payable or returned metal.
    """

    metal: str
    accounts: Accountability
    outturn: Outturn = Outturn.MONEY
    price: Rate | None = None
    refining: Rate | None = None
    refining_on: ChargedOn = ChargedOn.CONTENT

    def __post_init__(self) -> None:
        if self.metal not in METALS:
            raise Refused(f"{self.metal} is no metal of account.", field="metal")
        if self.outturn is Outturn.MONEY and self.accounts.share_ppm and self.price is None:
            raise Refused(f"{self.metal} is settled in money and needs a price.", field="price")


@dataclass(frozen=True, slots=True)
class Terms:
    """What is agreed for one settlement: metals, currency (ISO 4217), and charges in that currency."""

    currency: str
    metals: tuple[MetalTerms, ...]
    charges: Charges = field(default_factory=Charges)

    def __post_init__(self) -> None:
        if not (len(self.currency) == 3 and self.currency.isascii() and self.currency.isupper()):
            raise Refused("A currency is three capital letters, like USD.", field="currency")
        named = [terms.metal for terms in self.metals]
        if len(named) != len(set(named)):
            raise Refused("Each metal is agreed once.", field="metal")


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
class Settlement:
    """A whole settlement. ``total`` is the sum of the values and charges; negative, the customer owes it."""

    currency: str
    metals: tuple[MetalLine, ...]
    values: tuple[MoneyLine, ...]
    charges: tuple[MoneyLine, ...]
    total: Decimal


def settle(gross_mg: int, content_mg: Mapping[str, int], terms: Terms, facts: Facts | None = None) -> Settlement:
    """Settle a receipt of ``gross_mg`` with the settled content of each metal, in milligrams, by the terms.

    ``facts`` is what else is charged for. Raises Refused for a negative content, for more metal than gross, and for a
    metal that is there but not agreed: a share of 0 % says that the refinery keeps it.
    """
    _check(gross_mg, content_mg, terms)
    agreed = sorted(terms.metals, key=lambda line: METALS.index(line.metal))
    metals = tuple(_metal_line(line, content_mg.get(line.metal, 0), gross_mg) for line in agreed)
    values = tuple(
        rated(f"{settled.metal} payable", settled.metal, line.price, settled.payable_mg, terms.currency)
        for line, settled in zip(agreed, metals, strict=True)
        if line.price is not None and settled.payable_mg
    )
    refining = _refining(agreed, metals, terms.currency)
    charges = charge_lines(gross_mg, refining, terms.charges, facts or Facts(), terms.currency)
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


def _metal_line(terms: MetalTerms, content: int, gross: int) -> MetalLine:
    due = terms.accounts.due_mg(content, gross)
    in_money = terms.outturn is Outturn.MONEY
    reckoned = terms.accounts.formula(content, gross, "payable" if in_money else "returned")
    formula = (
        f"{reckoned}; retained {format_grams(content)} {LESS} {format_grams(due)} = {format_grams(content - due)} g"
    )
    return MetalLine(
        metal=terms.metal,
        content_mg=content,
        payable_mg=due if in_money else 0,
        returned_mg=0 if in_money else due,
        retained_mg=content - due,
        formula=formula,
    )


def _refining(agreed: list[MetalTerms], metals: tuple[MetalLine, ...], currency: str) -> list[MoneyLine]:
    lines = []
    for line, settled in zip(agreed, metals, strict=True):
        on_content = line.refining_on is ChargedOn.CONTENT
        mg = settled.content_mg if on_content else settled.payable_mg + settled.returned_mg
        if line.refining is not None and mg:
            what = f"{line.metal} refining, on {line.refining_on.value}"
            lines.append(as_charge(rated(what, line.metal, line.refining, mg, currency)))
    return lines
