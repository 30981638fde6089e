"""Places that two people open: which are open, what was done in each access; and the counts of every place."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, Max, Q, QuerySet
from django.utils import timezone

from custody.models import Handover, Movement, Place, PlaceChange, StockCount, User, VaultAccess
from custody.queries import scope

#: A place that stays open longer is told as overdue: common practice is to close it before the shift ends.
OPEN_AT_MOST = timedelta(hours=12)


@dataclass(frozen=True, slots=True)
class Standing:
    """A place that two people open, as it stands: its access while it is open, else None."""

    place: Place
    access: VaultAccess | None

    @property
    def overdue(self) -> bool:
        """Whether it has been open for too long."""
        return self.access is not None and timezone.now() - self.access.at > OPEN_AT_MOST

    @property
    def word(self) -> str:
        """Closed, open, or open too long."""
        return "open too long" if self.overdue else "open" if self.access else "closed"


@dataclass(frozen=True, slots=True)
class Done:
    """One thing that was done in an access: when, what, at which lots, by whom, and the operation's number if any."""

    at: datetime
    what: str
    lots: tuple[str, ...]
    who: str
    operation: str = ""
    count: str = ""


def standings(viewer: User) -> list[Standing]:
    """Every place in use that two people open, or that is open still."""
    opened = {access.place_id: access for access in open_now(viewer)}
    places = Place.objects.filter(Q(two_person=True, active=True) | Q(pk__in=opened))
    return [Standing(place, opened.get(place.pk)) for place in places]


def standing_of(viewer: User, place: Place) -> Standing:
    """One place as it stands."""
    return Standing(place, open_now(viewer).filter(place=place).first())


def open_now(viewer: User) -> QuerySet[VaultAccess]:
    """Accesses that are not closed yet."""
    return scope.accesses(viewer).filter(closing__isnull=True).select_related("place", "by", "second")


def accesses_of(viewer: User, place: Place) -> QuerySet[VaultAccess]:
    """The accesses of a place, the newest in front."""
    return scope.accesses(viewer).filter(place=place).select_related("by", "second", "closing__by").order_by("-at")


def done_in(access: VaultAccess) -> list[Done]:
    """What was done at the place while it was open: lots handed over, operations, counts, in order."""
    closing = getattr(access, "closing", None)
    span = {"at__gte": access.at} | ({"at__lte": closing.at} if closing else {})
    found = [*_handovers(access, span), *_operations(access, span)]
    found += [
        Done(count.at, "counted", (), f"{count.by} and {count.second}", count=count.number)
        for count in StockCount.objects.filter(place=access.place, **span).select_related("by", "second")
    ]
    return sorted(found, key=lambda done: done.at)


def _handovers(access: VaultAccess, span: dict) -> Iterable[Done]:
    here = Q(from_place=access.place) | Q(to_place=access.place)
    rows = Handover.objects.filter(here, **span).select_related(
        "lot", "from_person", "to_person", "from_place", "to_place"
    )
    for one in rows:
        if one.from_place_id == one.to_place_id:
            what = "passed on there" if one.seen else "not found, stays with who gave"
        else:
            what = (
                f"taken to {one.to_place}" if one.from_place_id == access.place_id else f"put in, from {one.from_place}"
            )
        yield Done(one.at, what, (one.lot.number,), f"{one.from_person} to {one.to_person}")


def _operations(access: VaultAccess, span: dict) -> Iterable[Done]:
    """Operations that touched lots there; valuations, which move nothing, are left out."""
    lines = (
        Movement.objects.filter(place=access.place, lot__isnull=False)
        .filter(**{f"operation__{name}": value for name, value in span.items()})
        .exclude(operation__kind="value")
        .select_related("operation__by", "lot")
        .order_by("operation_id", "line")
    )
    by_operation: dict[int, list[Movement]] = {}
    for line in lines:
        by_operation.setdefault(line.operation_id, []).append(line)
    for of_one in by_operation.values():
        operation = of_one[0].operation
        numbers = tuple(dict.fromkeys(line.lot.number for line in of_one))
        yield Done(operation.at, operation.get_kind_display(), numbers, str(operation.by), operation=operation.number)


def counts(viewer: User) -> QuerySet[StockCount]:
    """Counts with how many lots were told of, and how many of them were not found, the newest in front."""
    return (
        scope.stock_counts(viewer)
        .select_related("place", "by", "second")
        .annotate(
            told=Count("lines", distinct=True),
            missing=Count("lines", filter=Q(lines__found=False), distinct=True),
            astray=Count("strays", distinct=True),
        )
        .order_by("-at")
    )


def last_counted(viewer: User) -> dict[int, datetime]:
    """When each place was counted last, by its id."""
    return dict(scope.stock_counts(viewer).values_list("place").annotate(at=Max("at")).order_by())


def places(viewer: User) -> QuerySet[Place]:
    """Every place of the house with how many lots stand there, those out of use at the end."""
    here = Count("lots", filter=Q(lots__gross_mg__gt=0, lots__in=scope.lots(viewer)))
    return Place.objects.annotate(standing=here).order_by("-active", "code")


def changes_of(place: Place) -> QuerySet[PlaceChange]:
    """What was changed of a place, the newest in front."""
    return place.changes.select_related("by")


def sheet_title(count: StockCount) -> str:
    """The title of a count's sheet, by which its copies are counted."""
    return f"Count sheet {count.number}"
