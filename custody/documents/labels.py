"""Lot labels, one a page of 62 mm by 40 mm. Anybody may read them where they hang: no party is named on them."""

from dataclasses import dataclass
from datetime import datetime

from custody.calc.mass import format_grams
from custody.documents.parts import House
from custody.documents.render import figures_json, render


@dataclass(frozen=True, slots=True)
class LotLabel:
    """One lot: number and ``qr`` to scan, form, net mass in mg, receipt, where it stands (in words), owner's code."""

    lot: str
    qr: str
    form: str
    net_mg: int
    receipt: str
    status: str
    owner_code: str = ""

    @property
    def number_size(self) -> str:
        """How large the number may stand on the label's width."""
        return _size(self.lot, 10, 16)

    @property
    def net_size(self) -> str:
        """How large the mass may stand, so that no digit is ever cut off."""
        return _size(format_grams(self.net_mg), 9, 12)


@dataclass(frozen=True, slots=True)
class LabelSheet:
    """The labels of one receipt or one melt, in the order in which they are cut; ``copy_no`` n for a reprint."""

    house: House
    labels: tuple[LotLabel, ...]
    copy_no: int = 1

    def __post_init__(self) -> None:
        if not self.labels:
            raise ValueError("A label sheet needs at least one lot.")


def _size(text: str, large: int, medium: int) -> str:
    if len(text) <= large:
        return "large"
    return "medium" if len(text) <= medium else "small"


def render_labels(sheet: LabelSheet, *, identifier: bytes, created: datetime) -> bytes:
    """The labels as PDF, one lot a page."""
    first, last = sheet.labels[0].lot, sheet.labels[-1].lot
    return render(
        "documents/labels.html",
        {"paper": sheet},
        identifier=identifier,
        created=created,
        title=f"Lot label {first}" if first == last else f"Lot labels {first} to {last}",
        attachment_json=figures_json(sheet),
    )
