"""The count sheet: what stood at a place by the book, what was found, what was not, and what was there besides."""

from dataclasses import dataclass
from datetime import datetime

from custody.documents.parts import House, Signature
from custody.documents.render import figures_json, render


@dataclass(frozen=True, slots=True)
class CountedLot:
    """One lot that the book had there, its gross in milligrams; ``bar`` is its stamp, if it bears one."""

    lot: str
    what: str
    bar: str
    custodian: str
    gross_mg: int
    note: str


@dataclass(frozen=True, slots=True)
class CountedStray:
    """What was scanned and did not stand there by the book."""

    code: str
    lot: str
    place: str
    custodian: str
    note: str


@dataclass(frozen=True, slots=True)
class CountSheet:
    """A count as it was recorded. Masses in mg."""

    house: House
    number: str
    qr: str
    place: str
    counted_at: datetime
    missing: tuple[CountedLot, ...]
    strays: tuple[CountedStray, ...]
    found: tuple[CountedLot, ...]
    missing_mg: int
    found_mg: int
    note: str
    signatures: tuple[Signature, ...]
    issued_at: datetime

    def __post_init__(self) -> None:
        for lots, total in ((self.missing, self.missing_mg), (self.found, self.found_mg)):
            if sum(one.gross_mg for one in lots) != total:
                raise ValueError("The lots of a count sheet add up to its totals.")

    @property
    def told(self) -> int:
        """How many lots the book had there."""
        return len(self.missing) + len(self.found)


def render_count(sheet: CountSheet, *, identifier: bytes, created: datetime) -> bytes:
    """The count sheet as PDF."""
    return render(
        "documents/count.html",
        {"paper": sheet},
        identifier=identifier,
        created=created,
        title=f"Count sheet {sheet.number}",
        attachment_json=figures_json(sheet),
    )
