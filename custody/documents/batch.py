"""The batch sheet: lots, blend, ordered route, reagents by equation, cautions, and blanks for the weighings."""

from dataclasses import dataclass
from datetime import datetime

from custody.calc.charge import Stage
from custody.calc.safety import Caution
from custody.documents.parts import House, Signature
from custody.documents.render import figures_json, render


@dataclass(frozen=True, slots=True)
class BatchLot:
    """One lot of the batch: number and ``qr`` of its label, form, owner's code, gross and metals in mg."""

    lot: str
    form: str
    owner: str
    columns_mg: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BatchSheet:
    """A route order with what it asks for. Masses in mg, volumes in microlitres."""

    house: House
    number: str
    qr: str
    lots: tuple[BatchLot, ...]
    total_mg: tuple[int, ...]
    fineness_ppm: tuple[int, ...]
    wanted_ppm: int
    steps: tuple[str, ...]
    reasons: tuple[str, ...]
    flags: tuple[str, ...]
    note: str
    silver_to_add_mg: int
    stages: tuple[Stage, ...]
    acids: str
    cautions: tuple[Caution, ...]
    signatures: tuple[Signature, ...]
    issued_at: datetime

    def __post_init__(self) -> None:
        for column, total in enumerate(self.total_mg):
            if sum(one.columns_mg[column] for one in self.lots) != total:
                raise ValueError("The lots of a sheet add up to its blend.")


def render_batch(sheet: BatchSheet, *, identifier: bytes, created: datetime) -> bytes:
    """The batch sheet as PDF."""
    return render(
        "documents/batch.html",
        {"paper": sheet},
        identifier=identifier,
        created=created,
        title=f"Batch sheet {sheet.number}",
        attachment_json=figures_json(sheet),
    )
