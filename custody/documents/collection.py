"""The notes that metal leaves with: the collection note of the gate, and the return note of parcels unmelted."""

from dataclasses import dataclass
from datetime import datetime

from custody.documents.parts import House, Signature, must_equal
from custody.documents.receipt import COPIES
from custody.documents.render import render_copies


@dataclass(frozen=True, slots=True)
class LeavingLot:
    """One bar or lot as it left, in mg; ``metals`` are (metal, mg), empty for a lot without an assay."""

    lot: str
    what: str
    gross_mg: int
    metals: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class ReturnedLot:
    """One parcel that goes back, in mg: declared, as received, as the book says now, and as weighed when it left."""

    lot: str
    what: str
    received_mg: int
    book_mg: int
    weighed_mg: int
    difference_mg: int
    declared_mg: int | None = None
    scale: str = ""
    seal: str = ""

    def __post_init__(self) -> None:
        must_equal(f"Difference of {self.lot}", self.difference_mg, self.weighed_mg - self.book_mg)


@dataclass(frozen=True, slots=True)
class LeavingPaper:
    """Metal handed out at the gate. ``lots`` are LeavingLot for a collection, ReturnedLot for a return."""

    house: House
    number: str
    qr: str
    at: datetime
    party: str
    party_code: str
    party_address: tuple[str, ...]
    right: str
    order: str
    collector: str
    identity: str
    handed_out_by: str
    lots: tuple[LeavingLot | ReturnedLot, ...]
    reason: str = ""
    receipt: str = ""
    explained: str = ""
    copy_no: int = 1

    @property
    def gross_mg(self) -> int:
        """Everything that left, as weighed where it was weighed."""
        return sum(lot.weighed_mg if isinstance(lot, ReturnedLot) else lot.gross_mg for lot in self.lots)

    @property
    def book_mg(self) -> int:
        """Returned parcels by the book."""
        return sum(lot.book_mg for lot in self.lots)

    @property
    def sums(self) -> tuple[tuple[str, int], ...]:
        """What left of each metal."""
        found: dict[str, int] = {}
        for lot in self.lots:
            for metal, mg in lot.metals:
                found[metal] = found.get(metal, 0) + mg
        return tuple(found.items())

    @property
    def signatures(self) -> tuple[Signature, ...]:
        """Who handed out, and who fetched."""
        return (
            Signature(f"Handed out for {self.house.name}", self.handed_out_by),
            Signature("Received, and found as listed", self.collector),
        )


def render_collection(paper: LeavingPaper, *, identifier: bytes, created: datetime) -> bytes:
    """The collection note as PDF: the customer's copy, then the refinery's."""
    return render_copies(
        "documents/collection.html", "Collection note", paper, COPIES, identifier=identifier, created=created
    )


def render_return(paper: LeavingPaper, *, identifier: bytes, created: datetime) -> bytes:
    """The return note as PDF: the customer's copy, then the refinery's."""
    return render_copies("documents/return.html", "Return note", paper, COPIES, identifier=identifier, created=created)
