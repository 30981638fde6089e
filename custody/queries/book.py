"""The list of operations, narrowed by what a reader asks."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef, QuerySet, Subquery, Sum

from custody.models import Movement, Operation, User
from custody.queries import scope
from custody.terms import Side


@dataclass(frozen=True, slots=True)
class Question:
    """What of the book is asked for; days are the refinery's, from and to inclusive."""

    kind: str = ""
    first: date | None = None
    last: date | None = None
    lot: str = ""
    person: int | None = None


def operations(viewer: User, asked: Question) -> QuerySet[Operation]:
    """Operations that answer, the newest in front, each with ``gross_mg``: what went in with additions."""
    found = scope.operations(viewer).order_by("-id")
    if asked.kind:
        found = found.filter(kind=asked.kind)
    if asked.first:
        found = found.filter(day__gte=asked.first)
    if asked.last:
        found = found.filter(day__lte=asked.last)
    if asked.person:
        found = found.filter(by=asked.person)
    if asked.lot:
        lots = scope.lots(viewer).filter(number__in={asked.lot, asked.lot.upper()})
        found = found.filter(Exists(Movement.objects.filter(operation=OuterRef("pk"), lot__in=lots)))
    came = Movement.objects.filter(operation=OuterRef("pk"), side__in=(Side.IN, Side.ADD)).values("operation")
    gross = Subquery(came.annotate(mg=Sum("gross_mg")).values("mg"))
    return found.annotate(gross_mg=gross).select_related("by", "party", "reversed_by")
