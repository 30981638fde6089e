"""What a customer is shown of its own: deliveries, bars delivered to it, papers."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from custody.models import Bar, Document, Movement, Operation, User
from custody.queries import scope
from custody.terms import PPM, DocumentKind, Kind, Side


@dataclass(frozen=True, slots=True)
class Delivered:
    """One bar as it left to the customer, in mg and ppm, and its certificate if it is issued."""

    gross_mg: int
    fineness_ppm: int | None
    at: datetime
    certificate: Document | None


def receipts(viewer: User) -> QuerySet[Operation]:
    """The viewer's receipts, the latest first; a reversed one is not there."""
    return scope.receipts(viewer).filter(reversed_by__isnull=True).order_by("-id")


def papers_of(receipt: Operation, viewer: User) -> QuerySet[Document]:
    """The papers of a receipt that the viewer may download: receipt and statements."""
    return scope.documents(viewer).filter(operation=receipt).order_by("-id")


def bars(viewer: User) -> QuerySet[Bar]:
    """Bars delivered to the viewer, the latest first."""
    return scope.bars(viewer).distinct().order_by("-id")


def delivered(found: Sequence[Bar], viewer: User) -> dict[int, Delivered]:
    """These bars as they left, by their lots' ids; always the same number of queries."""
    lots = [bar.lot_id for bar in found]
    left = Movement.objects.filter(
        lot__in=lots, side=Side.IN, operation__kind=Kind.DISPATCH, operation__reversed_by__isnull=True
    ).select_related("operation")
    certificates = scope.documents(viewer).filter(kind=DocumentKind.CERTIFICATE, lot__in=lots).order_by("id")
    latest = {paper.lot_id: paper for paper in certificates}
    return {
        line.lot_id: Delivered(
            line.gross_mg,
            max(line.metals_mg) * PPM // line.gross_mg if line.valued else None,
            line.operation.at,
            latest.get(line.lot_id),
        )
        for line in left
    }
