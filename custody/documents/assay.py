"""The assay certificate: what was assayed, how, what every piece gave, and how sure the result is."""

from dataclasses import dataclass
from datetime import datetime

from custody.documents.parts import House, Signature
from custody.documents.render import figures_json, render


@dataclass(frozen=True, slots=True)
class AssayResult:
    """One metal: fineness in ppm, expanded uncertainty (k = 2) in ppb or None where none is stated."""

    metal: str
    ppm: int
    expanded_ppb: int | None = None


@dataclass(frozen=True, slots=True)
class AssayPiece:
    """One piece or proof: micrograms taken and found, its result in ppm (None: a proof, or discarded), and a word."""

    worksheet: str
    position: int
    what: str
    taken_ug: int | None
    found_ug: int | None
    result_ppm: int | None
    word: str = ""


@dataclass(frozen=True, slots=True)
class AssayPaper:
    """An accepted determination of one lot; ``sentences`` are the arithmetic and the verdicts in words."""

    house: House
    number: str
    qr: str
    lot: str
    form: str
    gross_mg: int
    receipt: str
    party: str
    party_code: str
    party_address: tuple[str, ...]
    sample: str
    seal: str
    method: str
    results: tuple[AssayResult, ...]
    pieces: tuple[AssayPiece, ...]
    sentences: tuple[str, ...]
    signatures: tuple[Signature, ...]
    issued_at: datetime


def render_assay(paper: AssayPaper, *, identifier: bytes, created: datetime) -> bytes:
    """The assay certificate as PDF."""
    return render(
        "documents/assay.html",
        {"paper": paper},
        identifier=identifier,
        created=created,
        title=f"Assay certificate {paper.number}",
        attachment_json=figures_json(paper),
    )
