"""The list of operations, narrowed by what a reader asks."""

from dataclasses import dataclass
from datetime import date

from django.db.models import Exists, OuterRef, QuerySet

from custody.models import Movement, Operation, User
from custody.queries import scope


@dataclass(frozen=True, slots=True)
class Question:
    """What of the book is asked for; days are the refinery's, from and to inclusive."""

    kind: str = ""
    first: date | None = None
    last: date | None = None
    lot: str = ""
    person: int | None = None


def operations(viewer: User, asked: Question) -> QuerySet[Operation]:
    """Operations that answer, the newest in front."""
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
    return found.select_related("by", "party", "reversed_by")
