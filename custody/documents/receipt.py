"""The delivery receipt: what was declared, what was measured, and from when the refinery answers for it."""

from dataclasses import dataclass
from datetime import datetime

from custody.documents.parts import House, Signature, must_equal
from custody.documents.render import render_copies

COPIES = ("customer's copy", "refinery's copy")


@dataclass(frozen=True, slots=True)
class ReceiptParcel:
    """One parcel. Declared: ``category``, ``country``, ``source`` (the mine or collector), papers by their numbers,
    ``declared_*`` (fineness as (metal, ppm) pairs; ``declared_words`` is gold said by karat).

    Measured: ``scale`` and the masses in mg; ``keyed`` says that a person typed the gross.
    """

    lot: str
    form: str
    pieces: int | None
    category: str
    country: str
    declared_fineness: tuple[tuple[str, int], ...]
    scale: str
    gross_mg: int
    tare_mg: int
    net_mg: int
    declared_mg: int | None = None
    declared_words: str = ""
    source: str = ""
    export_paper: str = ""
    transport_paper: str = ""
    keyed: bool = False
    description: str = ""
    seal: str = ""

    def __post_init__(self) -> None:
        must_equal(f"Net of {self.lot}", self.net_mg, self.gross_mg - self.tare_mg)


@dataclass(frozen=True, slots=True)
class RefusedLine:
    """Metal that was brought with the delivery and not taken in; its mass in mg if it was weighed."""

    form: str
    description: str
    gross_mg: int | None
    reason: str


@dataclass(frozen=True, slots=True)
class AmendedLine:
    """One amendment: of a lot or, without one, of the delivery itself; what was first written, and what is right."""

    lot: str
    field: str
    before: str
    after: str
    reason: str
    by: str
    at: datetime
    countersigned_by: str = ""


@dataclass(frozen=True, slots=True)
class ReceiptPaper:
    """One delivery accepted at the counter. ``copy_no`` is 1 for the first print, n for a reprint.

    ``identity`` is the kind of paper that was seen; its number is on no paper of the house. ``slip`` is the paper slip
    that this receipt was entered from, ``replaces`` the reversed receipt that it stands for.
    """

    house: House
    number: str
    qr: str
    received_at: datetime
    party: str
    party_code: str
    party_address: tuple[str, ...]
    delivered_by: str
    received_by: str
    custodian: str
    place: str
    basis: str
    parcels: tuple[ReceiptParcel, ...]
    terms: tuple[str, ...]
    copy_no: int = 1
    remarks: str = ""
    on_behalf_of: str = ""
    identity: str = ""
    slip: str = ""
    replaces: str = ""
    refused: tuple[RefusedLine, ...] = ()
    amendments: tuple[AmendedLine, ...] = ()

    @property
    def keyed(self) -> bool:
        return any(parcel.keyed for parcel in self.parcels)

    @property
    def pieces(self) -> int:
        return sum(parcel.pieces or 0 for parcel in self.parcels)

    @property
    def gross_mg(self) -> int:
        return sum(parcel.gross_mg for parcel in self.parcels)

    @property
    def tare_mg(self) -> int:
        return sum(parcel.tare_mg for parcel in self.parcels)

    @property
    def net_mg(self) -> int:
        return sum(parcel.net_mg for parcel in self.parcels)

    @property
    def signatures(self) -> tuple[Signature, ...]:
        return (
            Signature("Delivered, and present at the weighing", self.delivered_by),
            Signature(f"Received and weighed for {self.house.name}", self.received_by),
        )


def render_receipt(paper: ReceiptPaper, *, identifier: bytes, created: datetime) -> bytes:
    """The receipt as PDF: the customer's copy, then the refinery's, each with its own page numbers."""
    return render_copies(
        "documents/receipt.html", "Delivery receipt", paper, COPIES, identifier=identifier, created=created
    )
