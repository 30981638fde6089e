"""Blank paper slips for the hours without power: one a page, each with its number, to be filled in by hand."""

from dataclasses import dataclass
from datetime import datetime

from custody.documents.parts import House
from custody.documents.render import figures_json, render

#: Lines for bags on one slip.
BAGS = 6


@dataclass(frozen=True, slots=True)
class PaperSlip:
    """One slip."""

    house: House
    number: str
    qr: str
    bags: tuple[int, ...] = tuple(range(1, BAGS + 1))


@dataclass(frozen=True, slots=True)
class SlipSheet:
    """Slips that were printed together."""

    slips: tuple[PaperSlip, ...]

    def __post_init__(self) -> None:
        if not self.slips:
            raise ValueError("A sheet has at least one slip.")


def render_slips(sheet: SlipSheet, *, identifier: bytes, created: datetime) -> bytes:
    """The slips as PDF, one a page."""
    first, last = sheet.slips[0].number, sheet.slips[-1].number
    return render(
        "documents/slips.html",
        *({"paper": slip} for slip in sheet.slips),
        identifier=identifier,
        created=created,
        title=f"Paper slip {first}" if first == last else f"Paper slips {first} to {last}",
        attachment_json=figures_json(sheet),
    )
