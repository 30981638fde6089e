"""The bar certificate. It travels with the bar, so it names no supplier."""

from dataclasses import dataclass
from datetime import date, datetime

from custody.documents.parts import House, Signature
from custody.documents.render import figures_json, render


@dataclass(frozen=True, slots=True)
class CertificatePaper:
    """One bar as stamped: masses in mg, fineness in ppm, the local day on which it was cast.

    ``fineness_ppm`` is what the book holds; ``marked`` the four figures stamped, by which ``fine_mg`` is reckoned, too.
    ``gross_ozt`` and ``fine_ozt`` are troy ounces as the market states them, by ``fine_rule``.
    """

    house: House
    number: str
    qr: str
    mark: str
    serial: str
    year: int
    form: str
    metal: str
    gross_mg: int
    fineness_ppm: int
    fine_mg: int
    cast_on: date
    assay_reference: str
    custody_model: str
    signatures: tuple[Signature, ...]
    issued_at: datetime
    marked: str
    gross_ozt: str
    fine_ozt: str
    fine_rule: str
    assay_method: str = ""
    bar_type: str = ""
    marks: tuple[str, ...] = ()


def render_certificate(paper: CertificatePaper, *, identifier: bytes, created: datetime) -> bytes:
    """The certificate as PDF, one page."""
    return render(
        "documents/certificate.html",
        {"paper": paper},
        identifier=identifier,
        created=created,
        title=f"Bar certificate {paper.number}",
        attachment_json=figures_json(paper),
    )
