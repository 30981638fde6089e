"""The trace report, filled from the book; and the flow picture of a way, for papers and screens."""

from collections import defaultdict
from datetime import datetime

from custody.documents import flow
from custody.documents.fill_receipt import house_of
from custody.documents.trace import TraceHandover, TraceLoss, TraceMetal, TraceMore, TraceOrigin, TracePaper
from custody.errors import Refusal
from custody.models import Bar, Lot, Movement, Refinery, User
from custody.queries import trace
from custody.queries.way import Loss, Losses, Way, handovers_on_way, losses_on_way, way_into
from custody.terms import COLUMNS, METALS

#: A report prints the latest losses and handovers; a bar of a recycling plant may have thousands behind it.
MOST_LOSSES = 200
MOST_HANDOVERS = 200


def trace_paper(lot: Lot, *, number: str, at: datetime, by: User) -> TracePaper:
    """A lot traced back, as the book stands. Raises ``Refusal`` for a lot that was cancelled."""
    cancelled = trace.cancelled_by(lot)
    if cancelled:
        raise Refusal(f"Lot {lot.number} was cancelled by {cancelled.number}: no report is issued for it.")
    ancestors = trace.ancestors_of(lot)
    metals = _metals(trace.origins_of(lot))
    way = way_into(lot, metals[0].metal) if metals else Way()
    nodes, links = picture_of(way)
    losses = losses_on_way(lot, ancestors, most=MOST_LOSSES)
    bar = getattr(lot, "bar", None)
    return TracePaper(
        house=house_of(Refinery.objects.get()),
        number=number,
        qr=lot.number,
        issued_at=at,
        prepared_by=str(by),
        lot=lot.number,
        form=lot.get_form_display(),
        gross_mg=lot.gross_mg or abs(Movement.objects.get(pk=lot.last_movement).gross_mg),
        custody_model=lot.custody_model,
        custodian=str(lot.custodian) if lot.gross_mg else "",
        place=str(lot.place) if lot.gross_mg else "",
        metals=metals,
        losses=tuple(map(_loss, losses.latest)),
        more_losses=_more(losses),
        ancestors=tuple(ancestors),
        nodes=nodes,
        links=links,
        picture_whole=way.whole,
        serial=str(bar) if bar else "",
        returned_from=_stamp(trace.returned_bar(lot)),
        **_custody(lot, ancestors),
    )


def picture_of(way: Way) -> tuple[tuple[flow.Node, ...], tuple[flow.Link, ...]]:
    """Boxes and bands of a way; none where it has no leg."""
    if not way.legs:
        return (), ()
    nodes = tuple(flow.Node(one.key, one.lines, one.kind, one.column) for one in way.stations)
    return nodes, tuple(flow.Link(leg.source, leg.target, leg.mg, leg.metal) for leg in way.legs)


def _metals(shares: list[trace.Share]) -> tuple[TraceMetal, ...]:
    """By metal; a lot not valued yet by gross."""
    by_metal = defaultdict(list)
    for share in shares:
        by_metal[share.metal].append(share)
    return tuple(
        TraceMetal(
            metal=metal,
            total_mg=sum(share.mg for share in by_metal[metal]),
            origins=tuple(
                TraceOrigin(s.origin, s.party_name, s.party, s.receipt, s.country, s.category, s.mg, s.received_on)
                for s in by_metal[metal]
                if not s.difference
            ),
            difference_mg=sum(share.mg for share in by_metal[metal] if share.difference),
        )
        for metal in COLUMNS
        if by_metal[metal]
    )


def _masses(metals_mg: tuple[int, ...]) -> tuple[tuple[str, int], ...]:
    return tuple((metal, mg) for metal, mg in zip(METALS, metals_mg, strict=True) if mg)


def _loss(loss: Loss) -> TraceLoss:
    return TraceLoss(loss.operation, loss.kind, loss.at, loss.cause, _masses(loss.metals_mg))


def _more(losses: Losses) -> TraceMore | None:
    more = losses.count - len(losses.latest)
    if not more:
        return None
    told = [sum(column) for column in zip(*(one.metals_mg for one in losses.latest), strict=True)]
    return TraceMore(more, _masses(tuple(whole - part for whole, part in zip(losses.sums_mg, told, strict=True))))


def _custody(lot: Lot, ancestors: list[str]) -> dict:
    passed, count = handovers_on_way(lot, ancestors, most=MOST_HANDOVERS)
    handovers = tuple(
        TraceHandover(
            one.lot.number, one.at, str(one.from_person), str(one.to_person), str(one.from_place), str(one.to_place),
            one.book_mg, one.weighed_mg, one.note,
        )
        for one in passed
    )  # fmt: skip
    return {"handovers": handovers, "more_handovers": count - len(handovers)}


def _stamp(bar: Bar | None) -> str:
    return f"{bar} (lot {bar.lot.number})" if bar else ""
