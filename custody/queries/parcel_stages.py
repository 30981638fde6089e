"""How far each parcel of a receipt has come, in the words that its owner is told.

Told are the stations of the metal, with their days. Whether compliance holds a lot is not told: the house asks the
customer itself, and a screen must not warn anybody of an inquiry.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from custody.models import Edge, Lot, Movement, Operation, OriginReceipt, Settlement
from custody.roles import Verb, verb_of
from custody.terms import Kind, Side

#: The stations in their order; a parcel need not pass all of them.
STAGES = ("received", "melted", "assayed", "refined", "returned", "settled")


@dataclass(slots=True)
class Progress:
    """One parcel: what came (mg), and when it reached which station."""

    lot: Lot
    received_mg: int
    reached: dict[str, datetime] = field(default_factory=dict)

    @property
    def stage(self) -> str:
        """The furthest station reached."""
        return next((stage for stage in reversed(STAGES) if stage in self.reached), STAGES[0])

    def reach(self, stage: str, at: datetime) -> None:
        """Keeps the first time at a station."""
        self.reached[stage] = min(at, self.reached.get(stage, at))


def progress(receipts: Sequence[Operation]) -> dict[int, list[Progress]]:
    """The parcels of these receipts by the receipt's id, in their order; always the same number of queries."""
    parcels = Lot.objects.filter(created_by__in=receipts).select_related("created_by").order_by("id")
    came = dict(Movement.objects.filter(operation__in=receipts, side=Side.OUT).values_list("lot_id", "gross_mg"))
    lines = {lot.pk: Progress(lot, came[lot.pk], {"received": lot.created_by.at}) for lot in parcels}
    for origin_lot, at in _valued(lines):
        lines[origin_lot].reach("assayed", at)
    _follow(receipts, lines)
    settled = dict(
        Settlement.objects.filter(receipt__in=receipts, corrects__isnull=True).values_list("receipt_id", "issued_at")
    )
    found: dict[int, list[Progress]] = {receipt.pk: [] for receipt in receipts}
    for line in lines.values():
        if line.lot.created_by_id in settled:
            line.reach("settled", settled[line.lot.created_by_id])
        found[line.lot.created_by_id].append(line)
    return found


def behind(lines: Sequence[Progress]) -> str:
    """The station of the parcel that is furthest behind."""
    return min((line.stage for line in lines), key=STAGES.index, default=STAGES[0])


def _valued(lots: Iterable[int]) -> Iterable[tuple[int, datetime]]:
    return OriginReceipt.objects.filter(
        origin__lot__in=list(lots), operation__kind=Kind.VALUE, operation__reversed_by__isnull=True
    ).values_list("origin__lot_id", "operation__at")


def _follow(receipts: Sequence[Operation], lines: dict[int, Progress]) -> None:
    """Walks from each parcel through the lots that are its receipt's alone, and on into the first step beyond."""
    edges: dict[int, list[Edge]] = {}
    for edge in Edge.objects.filter(parent__receipt__in=receipts, operation__reversed_by__isnull=True).select_related(
        "operation"
    ):
        edges.setdefault(edge.parent_id, []).append(edge)
    left = dict(
        Movement.objects.filter(
            lot__receipt__in=receipts,
            side=Side.IN,
            operation__kind=Kind.DISPATCH,
            operation__reversed_by__isnull=True,
        ).values_list("lot_id", "operation__at")
    )
    for parcel, line in lines.items():
        waiting, seen = [parcel], {parcel}
        while waiting:
            lot = waiting.pop()
            if lot in left:
                line.reach("returned", left[lot])
            for edge in edges.get(lot, ()):
                stage = _stage_of(Kind(edge.operation.kind))
                if stage:
                    line.reach(stage, edge.operation.at)
                if edge.child_id not in seen:
                    seen.add(edge.child_id)
                    waiting.append(edge.child_id)


def _stage_of(kind: Kind) -> str:
    verb = verb_of(kind)
    if verb == Verb.MELT:
        return "melted"
    return "refined" if verb in (Verb.REFINE, Verb.CAST) and kind != Kind.RECEIVE else ""
