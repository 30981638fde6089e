"""The trace report of a bar or lot: its origins to the milligram, what was lost on the way, who held it."""

from dataclasses import dataclass
from datetime import date, datetime

from custody.documents import flow
from custody.documents.parts import House, must_equal
from custody.documents.render import figures_json, render

#: What of a flow picture stays readable on an A4 page.
PAPER_COLUMNS = 6
PAPER_LIMIT = 16
#: Rows that are printed; the attached figures hold all. A bar of a recycling plant has thousands of small origins.
PRINTED_ORIGINS = 200
PRINTED_ANCESTORS = 1000


@dataclass(frozen=True, slots=True)
class TraceOrigin:
    """One parcel's milligrams in the lot traced."""

    lot: str
    party: str
    party_code: str
    receipt: str
    country: str
    category: str
    mg: int
    received_on: date | None = None


@dataclass(frozen=True, slots=True)
class TraceMetal:
    """One metal: origins + difference = total, in mg (I5). The difference is gain that no delivery explains."""

    metal: str
    total_mg: int
    origins: tuple[TraceOrigin, ...]
    difference_mg: int = 0

    def __post_init__(self) -> None:
        explained = sum(origin.mg for origin in self.origins) + self.difference_mg
        must_equal(f"Origins of {self.metal}, mg", explained, self.total_mg)

    @property
    def printed(self) -> tuple[TraceOrigin, ...]:
        """The origins that get a row: all, or the largest."""
        if len(self.origins) <= PRINTED_ORIGINS:
            return self.origins
        return tuple(sorted(self.origins, key=lambda origin: -origin.mg)[:PRINTED_ORIGINS])

    @property
    def smaller_count(self) -> int:
        """How many origins stand in one row together."""
        return len(self.origins) - len(self.printed)

    @property
    def smaller_mg(self) -> int:
        """What they sum to, so that the printed rows and this one add up to the total."""
        return self.total_mg - self.difference_mg - sum(origin.mg for origin in self.printed)


@dataclass(frozen=True, slots=True)
class TraceLoss:
    """One declared loss of an operation on the way: the whole operation's, by (metal, mg), not the bar's share."""

    operation: str
    kind: str
    at: datetime
    cause: str
    masses: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class TraceMore:
    """How many earlier losses have no row of their own, and their sums by (metal, mg)."""

    count: int
    masses: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class TraceHandover:
    """One passing on of custody; ``weighed_mg`` is None where metal was handed over at book, not weighed."""

    lot: str
    at: datetime
    from_person: str
    to_person: str
    from_place: str
    to_place: str
    book_mg: int
    weighed_mg: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class TracePaper:
    """A trace back of ``lot``; ``serial`` (as stamped, with mark and year) when it is a bar.

    ``losses`` and ``handovers`` are the latest; what lies before them is counted in ``more_…``.
    """

    house: House
    number: str
    qr: str
    issued_at: datetime
    prepared_by: str
    lot: str
    form: str
    gross_mg: int
    custody_model: str
    custodian: str
    place: str
    metals: tuple[TraceMetal, ...]
    losses: tuple[TraceLoss, ...]
    handovers: tuple[TraceHandover, ...]
    ancestors: tuple[str, ...]
    nodes: tuple[flow.Node, ...] = ()
    links: tuple[flow.Link, ...] = ()
    serial: str = ""
    returned_from: str = ""
    more_losses: TraceMore | None = None
    more_handovers: int = 0
    picture_whole: bool = True

    @property
    def printed_ancestors(self) -> tuple[str, ...]:
        """The ancestors that are printed: all, or those made last."""
        return self.ancestors[-PRINTED_ANCESTORS:]

    @property
    def loss_metals(self) -> tuple[str, ...]:
        """The metals that need a column in the table of losses, in the order of the metals traced."""
        told = [*self.losses, self.more_losses] if self.more_losses else self.losses
        lost = [metal for loss in told for metal, _ in loss.masses]
        traced = [line.metal for line in self.metals]
        return tuple(dict.fromkeys([metal for metal in traced if metal in lost] + lost))

    @property
    def loss_rows(self) -> list[tuple[TraceLoss, list[int | None]]]:
        return [(loss, [dict(loss.masses).get(metal) for metal in self.loss_metals]) for loss in self.losses]

    @property
    def more_loss_masses(self) -> list[int | None]:
        return [dict(self.more_losses.masses).get(metal) for metal in self.loss_metals]


def render_trace(paper: TracePaper, *, identifier: bytes, created: datetime) -> bytes:
    """The report as PDF, as many pages as it needs. Raises ``ValueError`` for a flow that leads nowhere."""
    context: dict[str, object] = {"paper": paper}
    if paper.nodes:
        picture = flow.layout(paper.nodes, paper.links, limit=PAPER_LIMIT, columns=PAPER_COLUMNS)
        words = flow.sentences(picture.nodes, picture.links)
        drawing = flow.svg(picture, title=f"Flow into {paper.lot}", desc="; ".join(words))
        context |= {"flow": flow.data_uri(drawing), "flow_words": "; ".join(words)}
    return render(
        "documents/trace.html",
        context,
        identifier=identifier,
        created=created,
        title=f"Trace report {paper.number}",
        attachment_json=figures_json(paper),
    )
