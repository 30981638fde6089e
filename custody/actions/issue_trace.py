"""Issuing the trace report of a bar or lot."""

from collections import defaultdict
from datetime import datetime

from custody.actions._allowed import require
from custody.actions.papers import store
from custody.documents import flow
from custody.documents.parts import House
from custody.documents.trace import TraceHandover, TraceLoss, TraceMetal, TraceOrigin, TracePaper, render_trace
from custody.models import Document, Handover, Lot, Movement, Refinery, User
from custody.queries import trace
from custody.queries.way import way_into
from custody.roles import Verb
from custody.terms import METALS, DocumentKind, Form, Side

#: A report lists the latest losses on the way; a bar of a recycling plant may have thousands behind it.
MOST_LOSSES = 200
MOST_HANDOVERS = 200


def issue_trace(*, lot: Lot, at: datetime, by: User) -> Document:
    """Renders the trace report of a lot as the book stands and stores it. Raises ``NotAllowed``."""
    require(by, Verb.TRACE)
    number = f"T-{lot.number}-{lot.documents.filter(kind=DocumentKind.TRACE).count() + 1}"
    content = render_trace(_paper(lot, number, at, by), identifier=number.encode()[:16].ljust(16, b"-"), created=at)
    return store(kind=DocumentKind.TRACE, title=f"Trace report {lot.number}", content=content, at=at, by=by, lot=lot)


def _paper(lot: Lot, number: str, at: datetime, by: User) -> TracePaper:
    ancestors = trace.ancestors_of(lot)
    metals = _metals(trace.origins_of(lot))
    stations, legs = way_into(lot, metals[0].metal) if metals else ([], [])
    refinery = Refinery.objects.get()
    bar = getattr(lot, "bar", None)
    return TracePaper(
        house=House(refinery.name, refinery.mark, tuple(refinery.address.splitlines()), refinery.time_zone),
        number=number,
        qr=lot.number,
        issued_at=at,
        prepared_by=str(by),
        lot=lot.number,
        form=Form(lot.form).label,
        gross_mg=lot.gross_mg or abs(Movement.objects.get(pk=lot.last_movement).gross_mg),
        custody_model=lot.custody_model,
        custodian=str(lot.custodian),
        place=str(lot.place),
        metals=metals,
        losses=_losses([*ancestors, lot.number]),
        handovers=_handovers([*ancestors, lot.number]),
        ancestors=tuple(ancestors),
        nodes=tuple(flow.Node(s.key, s.lines, s.kind, s.column) for s in stations),
        links=tuple(flow.Link(leg.source, leg.target, leg.mg, leg.metal) for leg in legs),
        serial=str(bar) if bar else "",
        returned_from=trace.returned_from(lot) or "",
    )


def _metals(shares: list[trace.Share]) -> tuple[TraceMetal, ...]:
    by_metal = defaultdict(list)
    for share in shares:
        by_metal[share.metal].append(share)
    return tuple(
        TraceMetal(
            metal=metal,
            total_mg=sum(share.mg for share in by_metal[metal]),
            origins=tuple(
                TraceOrigin(s.origin, s.party_name, s.party, s.receipt, s.country, s.category, s.mg)
                for s in by_metal[metal]
                if not s.difference
            ),
            difference_mg=sum(share.mg for share in by_metal[metal] if share.difference),
        )
        for metal in METALS
        if by_metal[metal]
    )


def _losses(numbers: list[str]) -> tuple[TraceLoss, ...]:
    lines = (
        Movement.objects.filter(
            side=Side.LOSS,
            operation__created_lots__number__in=numbers,
            operation__reversed_by__isnull=True,
        )
        .select_related("operation")
        .distinct()
        .order_by("-id")[:MOST_LOSSES]
    )
    return tuple(
        TraceLoss(
            line.operation.number,
            line.operation.kind,
            line.operation.at,
            line.what,
            tuple((metal, mg) for metal, mg in zip(METALS, line.metals_mg, strict=True) if mg),
        )
        for line in reversed(lines)
        if any(line.metals_mg)
    )


def _handovers(numbers: list[str]) -> tuple[TraceHandover, ...]:
    passed = (
        Handover.objects.filter(lot__number__in=numbers)
        .select_related("lot", "from_person", "to_person", "from_place", "to_place")
        .order_by("-id")[:MOST_HANDOVERS]
    )
    return tuple(
        TraceHandover(
            h.lot.number, h.at, str(h.from_person), str(h.to_person), str(h.from_place), str(h.to_place),
            h.book_mg, h.weighed_mg, h.note,
        )
        for h in reversed(passed)
    )  # fmt: skip
