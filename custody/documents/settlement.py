"""The settlement statement: what the refinery owes for a receipt, in money or metal, and how it was reckoned."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from custody.documents.parts import House, Signature, must_equal
from custody.documents.render import figures_json, render


@dataclass(frozen=True, slots=True)
class SettledLot:
    """How one lot's content came about: gross in mg, and per metal (metal, fineness ppm, fine mg)."""

    lot: str
    form: str
    gross_mg: int
    contents: tuple[tuple[str, int, int], ...]
    assay_reference: str = ""


@dataclass(frozen=True, slots=True)
class SettledMetal:
    """One metal: payable + retained + returned = content (I9), masses in mg, accountability in ppm.

    ``price`` is per ``price_unit`` ("g", "ozt"); without a price nothing of this metal is paid in money.
    """

    metal: str
    content_mg: int
    accountability_ppm: int
    payable_mg: int
    retained_mg: int
    returned_mg: int
    formula: str
    price: Decimal | None = None
    price_unit: str = ""
    price_source: str = ""
    amount: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        parts = self.payable_mg + self.retained_mg + self.returned_mg
        must_equal(f"Settled {self.metal}, mg", parts, self.content_mg)


@dataclass(frozen=True, slots=True)
class Charge:
    """One charge and how it was reckoned; the amount is negative, as it enters the total."""

    what: str
    formula: str
    amount: Decimal


@dataclass(frozen=True, slots=True)
class SettlementPaper:
    """One issued statement; a correction names the one it takes the place of in ``corrects``."""

    house: House
    number: str
    qr: str
    issued_at: datetime
    party: str
    party_code: str
    party_address: tuple[str, ...]
    receipts: tuple[str, ...]
    outturn: str
    currency: str
    metals: tuple[SettledMetal, ...]
    charges: tuple[Charge, ...]
    total: Decimal
    prepared: Signature
    approved: Signature
    lots: tuple[SettledLot, ...] = ()
    notes: tuple[str, ...] = ()
    corrects: str = ""
    reason: str = ""

    def __post_init__(self) -> None:
        must_equal("Total of the statement", self.total, self.value + self.charged)

    @property
    def value(self) -> Decimal:
        return sum((line.amount for line in self.metals), Decimal(0))

    @property
    def charged(self) -> Decimal:
        return sum((charge.amount for charge in self.charges), Decimal(0))

    @property
    def due(self) -> str:
        """Who owes the total to whom."""
        return "Payable to the customer" if self.total >= 0 else "Payable by the customer"

    @property
    def due_amount(self) -> Decimal:
        return abs(self.total)

    @property
    def signatures(self) -> tuple[Signature, ...]:
        return (self.prepared, self.approved)


def render_settlement(paper: SettlementPaper, *, identifier: bytes, created: datetime) -> bytes:
    """The statement as PDF."""
    return render(
        "documents/settlement.html",
        {"paper": paper},
        identifier=identifier,
        created=created,
        title=f"Settlement statement {paper.number}",
        attachment_json=figures_json(paper),
    )
