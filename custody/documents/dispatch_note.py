"""The dispatch note: it travels with the goods and says what they are, package by package.

The collection note is the receipt that the collector signs; this one is for whoever unpacks.
"""

from dataclasses import dataclass
from datetime import datetime

from custody.documents.bar_list import ListedBar, ListTotal
from custody.documents.parts import House, Signature
from custody.documents.render import render_copies

#: Who keeps which copy.
COPIES = ("Travels with the goods", "Refinery's copy")


@dataclass(frozen=True, slots=True)
class SentBox:
    """One sealed box: how many bars, and their gross in mg."""

    number: str
    seal: str
    bars: int
    gross_mg: int


@dataclass(frozen=True, slots=True)
class SentLot:
    """One lot that is no bar: by the book and as weighed when it left, in mg; None where a record has no weighing."""

    lot: str
    what: str
    book_mg: int
    weighed_mg: int | None
    scale: str
    metals: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class DispatchNote:
    """What left by one dispatch. ``statement`` says by what right: returned to its owner, against a claim, sold."""

    house: House
    number: str
    qr: str
    at: datetime
    party: str
    party_code: str
    party_address: tuple[str, ...]
    order: str
    carrier: str
    collector: str
    sent_by: str
    statement: str
    boxes: tuple[SentBox, ...]
    bars: tuple[ListedBar, ...]
    totals: tuple[ListTotal, ...]
    rules: tuple[str, ...]
    lots: tuple[SentLot, ...]
    reason: str = ""
    explained: str = ""
    copy_no: int = 1

    @property
    def loose(self) -> int:
        """How many bars lie in no box."""
        return sum(not bar.box for bar in self.bars)

    @property
    def lots_mg(self) -> int:
        """The lots as weighed, else by the book."""
        return sum(lot.book_mg if lot.weighed_mg is None else lot.weighed_mg for lot in self.lots)

    @property
    def gross_mg(self) -> int:
        """Everything: bars by their gross, lots as weighed."""
        return self.lots_mg + sum(bar.gross_mg for bar in self.bars)

    @property
    def signatures(self) -> tuple[Signature, ...]:
        """Who sent it, who carries it, and who receives it."""
        return (
            Signature(f"Sent out for {self.house.name}", self.sent_by, self.at),
            Signature("Carried, the seals unbroken", self.collector),
            Signature("Received, and found as listed", self.party),
        )


def render_dispatch_note(paper: DispatchNote, *, identifier: bytes, created: datetime) -> bytes:
    """The dispatch note as PDF: the copy that travels, then the refinery's."""
    return render_copies(
        "documents/dispatch_note.html", "Dispatch note", paper, COPIES, identifier=identifier, created=created
    )
