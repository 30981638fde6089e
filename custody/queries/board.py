"""The plant at this moment, place by place: how much is where, since when, in whose hands, and what is overdue.

Every lot with mass in it stands at one place, so the places' sums are the sum of the book. What is asked is the same
for one lot and for a thousand: sums by place, and of each place the lots that were touched longest ago.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import BigIntegerField, Count, F, Min, Q, QuerySet, Sum, Window
from django.db.models.functions import Cast, Coalesce, RowNumber

from custody.calc.balance import total
from custody.calc.standing import LONGEST, untouched_too_long
from custody.models import Lot, Place, User
from custody.queries import plant, scope
from custody.queries.plant import OpenRun
from custody.terms import COLUMNS, Form, PlaceKind

#: Lots shown of each place; all of them are in the list below the board.
SHOWN = 5
_MASSES = [f"{column.lower()}_mg" for column in COLUMNS]


@dataclass(frozen=True, slots=True)
class Standing:
    """A place and what stands there, milligrams; ``unvalued_mg`` is the gross whose metal is not known.

    ``lots`` are those touched longest ago; ``late`` says how many were not touched for longer than is usual there.
    """

    place: Place
    columns_mg: tuple[int, ...]
    unvalued_mg: int
    count: int
    late: int
    oldest: datetime | None
    keepers: tuple[str, ...]
    lots: tuple[Lot, ...]
    run: OpenRun | None = None

    @property
    def empty(self) -> bool:
        """Whether nothing stands there."""
        return self.count == 0

    def overdue(self, now: datetime) -> bool:
        """Whether anything there is overdue: its run, or a lot."""
        return bool(self.late) or (self.run is not None and self.run.overdue(now))


def standing(viewer: User, now: datetime) -> list[Standing]:
    """Every place in use, and every other one where something stands, by code."""
    there = scope.lots(viewer).filter(gross_mg__gt=0, place__isnull=False)
    sums = {row["place"]: row for row in _sums(there, now)}
    lots = _oldest(there)
    keepers = _keepers(there)
    runs = {run.content.place_id: run for run in plant.open_runs(viewer)}
    places = Place.objects.filter(Q(active=True) | Q(pk__in=list(sums))).order_by("code")
    return [_standing(place, sums.get(place.pk), lots, keepers, runs.get(place.pk)) for place in places]


def totals(found: Iterable[Standing]) -> tuple[int, ...]:
    """Gross and metals of all of them together, milligrams."""
    return total([one.columns_mg for one in found])


def late_lot(lot: Lot, now: datetime) -> bool:
    """Whether a lot was not touched for longer than is usual where it stands."""
    return untouched_too_long(lot.place.kind, lot.last_at, now)


def _sums(there: QuerySet[Lot], now: datetime):
    late = Q()
    for kind, longest in LONGEST.items():
        late |= Q(place__kind=kind, last_at__lt=now - longest)
    late &= ~Q(form=Form.IN_PROCESS)
    masses = {f"sum_{mass}": _sum(mass) for mass in _MASSES}
    return (
        there.order_by()
        .values("place")
        .annotate(
            **masses,
            unvalued=Coalesce(_sum("gross_mg", filter=Q(valued=False)), 0),
            lots=Count("pk"),
            late=Count("pk", filter=late),
            oldest=Min("last_at"),
        )
    )


def _sum(mass: str, **kwargs) -> Cast:
    return Cast(Sum(mass, **kwargs), BigIntegerField())  # a sum of bigint is numeric


def _oldest(there: QuerySet[Lot]) -> dict[int, list[Lot]]:
    """Of each place but vaults, the lots that were touched longest ago; contents of vessels are told by their runs."""
    ranked = there.exclude(place__kind=PlaceKind.VAULT).exclude(form=Form.IN_PROCESS)
    ranked = ranked.annotate(
        rank=Window(RowNumber(), partition_by=[F("place")], order_by=[F("last_at").asc(), F("id").asc()])
    )
    found: dict[int, list[Lot]] = {}
    for lot in ranked.filter(rank__lte=SHOWN).select_related("place").order_by("place", "last_at", "id"):
        found.setdefault(lot.place_id, []).append(lot)
    return found


def _keepers(there: QuerySet[Lot]) -> dict[int, list[str]]:
    pairs = set(there.order_by().values_list("place", "custodian").distinct())
    people = User.objects.in_bulk({person for _, person in pairs})
    found: dict[int, list[str]] = {}
    for place, person in pairs:
        found.setdefault(place, []).append(str(people[person]))
    return {place: sorted(names) for place, names in found.items()}


def _standing(place: Place, row: dict | None, lots: dict, keepers: dict, run: OpenRun | None) -> Standing:
    if row is None:
        return Standing(place, (0,) * len(COLUMNS), 0, 0, 0, None, (), ())
    return Standing(
        place=place,
        columns_mg=tuple(row[f"sum_{mass}"] for mass in _MASSES),
        unvalued_mg=row["unvalued"],
        count=row["lots"],
        late=row["late"],
        oldest=row["oldest"],
        keepers=tuple(keepers.get(place.pk, ())),
        lots=tuple(lots.get(place.pk, ())),
        run=run,
    )
