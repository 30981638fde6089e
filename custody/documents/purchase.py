"""The purchase note: what was bought at the counter, by which indication and price, and how it was paid."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from custody.documents.parts import House, Signature, must_equal
from custody.documents.render import render_copies

COPIES = ("seller's copy", "refinery's copy")


@dataclass(frozen=True, slots=True)
class BoughtParcel:
    """One parcel that was bought: weighed in mg, indicated in ppm, and the amount with how it was reckoned."""

    lot: str
    what: str
    scale: str
    gross_mg: int
    tare_mg: int
    net_mg: int
    metal: str
    indicated_ppm: int
    method: str
    price_per_g: Decimal
    payable_ppm: int
    formula: str
    amount: Decimal
    seal: str = ""

    def __post_init__(self) -> None:
        must_equal(f"Net of {self.lot}", self.net_mg, self.gross_mg - self.tare_mg)


@dataclass(frozen=True, slots=True)
class PurchasePaper:
    """One purchase, paid at once."""

    house: House
    number: str
    qr: str
    at: datetime
    party: str
    party_code: str
    party_address: tuple[str, ...]
    sold_by: str
    on_behalf_of: str
    identity: str
    bought_by: str
    parcels: tuple[BoughtParcel, ...]
    currency: str
    total: Decimal
    payment: str
    reference: str
    price_source: str
    copy_no: int = 1

    def __post_init__(self) -> None:
        must_equal("Total of the purchase", self.total, sum((p.amount for p in self.parcels), Decimal(0)))

    @property
    def net_mg(self) -> int:
        """Everything bought, net."""
        return sum(parcel.net_mg for parcel in self.parcels)

    @property
    def signatures(self) -> tuple[Signature, ...]:
        """Who sold and who bought."""
        return (
            Signature("Sold, declared as above, and the amount received", self.sold_by),
            Signature(f"Weighed, bought and paid for {self.house.name}", self.bought_by),
        )


def render_purchase(paper: PurchasePaper, *, identifier: bytes, created: datetime) -> bytes:
    """The purchase note as PDF: the seller's copy, then the refinery's."""
    return render_copies(
        "documents/purchase.html", "Purchase note", paper, COPIES, identifier=identifier, created=created
    )
