"""Lists of bars: of anything that was chosen, and of a sealed box."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from custody.documents.parts import House, Signature, must_equal
from custody.documents.render import figures_json, render


@dataclass(frozen=True, slots=True)
class ListedBar:
    """One bar: masses in mg, fineness in ppm, troy ounces by the rule of its market; None where no assay valued it."""

    lot: str
    mark: str
    serial: str
    year: int
    kind: str
    gross_mg: int
    metal: str = ""
    fineness_ppm: int | None = None
    fine_mg: int | None = None
    gross_ozt: Decimal | None = None
    fine_ozt: Decimal | None = None
    box: str = ""


@dataclass(frozen=True, slots=True)
class ListTotal:
    """One metal of a list; ounces are the sums of its lines."""

    metal: str
    bars: int
    gross_mg: int
    fine_mg: int
    gross_ozt: Decimal
    fine_ozt: Decimal


@dataclass(frozen=True, slots=True)
class BarListPaper:
    """A list of bars; ``facts`` (name, value) stand at its head, ``rules`` say how the ounces are told."""

    house: House
    name: str
    number: str
    qr: str
    facts: tuple[tuple[str, str], ...]
    bars: tuple[ListedBar, ...]
    totals: tuple[ListTotal, ...]
    rules: tuple[str, ...]
    signatures: tuple[Signature, ...]
    issued_at: datetime
    statement: str = ""
    copy_no: int = 1

    def __post_init__(self) -> None:
        for total in self.totals:
            of_metal = [bar for bar in self.bars if bar.metal == total.metal]
            must_equal(f"Fine {total.metal}", total.fine_mg, sum(bar.fine_mg for bar in of_metal))
            must_equal(f"Gross of {total.metal}", total.gross_mg, sum(bar.gross_mg for bar in of_metal))


def render_bar_list(paper: BarListPaper, *, identifier: bytes, created: datetime) -> bytes:
    """The list as PDF."""
    return render(
        "documents/bar_list.html",
        {"paper": paper},
        identifier=identifier,
        created=created,
        title=f"{paper.name} {paper.number}",
        attachment_json=figures_json(paper),
    )
