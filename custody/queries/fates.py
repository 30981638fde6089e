"""Where everything went that a campaign's parcels brought: fates summed over parcels, against what was received."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import connection
from django.db.models import QuerySet, Sum

from custody.models import Lot, Operation, OriginReceipt, RouteOrder, User
from custody.queries import scope, trace
from custody.terms import COLUMNS, METALS, Cause, Form, Kind

#: More parcels than these are no campaign: their sums are the balance of a month.
MOST = 1000

_FATES = """
SELECT f.metal, f.fate, sum(f.mg)::bigint, f.lot, f.serial, f.cause, f.operation
  FROM unnest(%s::bigint[]) o(id), LATERAL custody_fates_of(o.id) f
 GROUP BY f.metal, f.fate, f.lot, f.serial, f.cause, f.operation
"""


@dataclass(frozen=True, slots=True)
class Found:
    """One fate of the campaign's metal: its group, which lot, bar or cause, where; Au, Ag, Pt, Pd, Cu in milligrams."""

    group: str
    lot: str
    words: str
    where: str
    operation: str
    metals_mg: tuple[int, ...]
    unvalued_mg: int = 0

    @property
    def unvalued(self) -> int | None:
        """Gross whose metal is not known yet, or None."""
        return self.unvalued_mg or None


@dataclass(frozen=True, slots=True)
class Fates:
    """Every fate, and what the parcels received, milligrams by metal."""

    parcels: tuple[Lot, ...]
    rows: tuple[Found, ...]
    received_mg: tuple[int, ...]

    @property
    def found_mg(self) -> tuple[int, ...]:
        """The sum of all fates."""
        return tuple(sum(row.metals_mg[metal] for row in self.rows) for metal in range(len(METALS)))

    @property
    def missing_mg(self) -> tuple[int, ...]:
        """Received less found again: nothing, or the book is damaged."""
        return tuple(came - found for came, found in zip(self.received_mg, self.found_mg, strict=True))

    @property
    def groups(self) -> dict[str, tuple[int, ...]]:
        """The sum of each group, in their order."""
        sums: dict[str, tuple[int, ...]] = {}
        for row in self.rows:
            before = sums.get(row.group, (0,) * len(METALS))
            sums[row.group] = tuple(a + b for a, b in zip(before, row.metals_mg, strict=True))
        return sums


def parcels_of_receipts(numbers: Iterable[str], viewer: User) -> QuerySet[Lot]:
    """The parcels of these receipts that the viewer may see."""
    return _parcels(viewer).filter(created_by__number__in=list(numbers))


def parcels_of_days(first: date, last: date, viewer: User) -> QuerySet[Lot]:
    """The parcels received on these local days, both included."""
    return _parcels(viewer).filter(created_by__day__range=(first, last))


def parcels_of_order(order: RouteOrder, viewer: User) -> QuerySet[Lot]:
    """Every parcel that has metal in the lots of a route order; an emptied lot counts as it last left."""
    numbers = {
        share.origin
        for line in order.lines.select_related("lot")
        for share in trace.origins_of(line.lot)
        if not share.difference
    }
    return _parcels(viewer).filter(number__in=numbers)


def _parcels(viewer: User) -> QuerySet[Lot]:
    found = scope.lots(viewer).filter(created_by__kind=Kind.RECEIVE, created_by__reversed_by=None, origin__isnull=False)
    return found.select_related("origin", "created_by__party").order_by("id")


def fates_of(parcels: Sequence[Lot], viewer: User) -> Fates:
    """Where the metal of these parcels is, or how it left; groups in the order of a reader's interest."""
    origins = [parcel.origin.pk for parcel in parcels]
    with connection.cursor() as cursor:
        cursor.execute(_FATES, [origins])
        fates = [trace.Fate._make(row) for row in cursor.fetchall()]
    lots = scope.lots(viewer).filter(number__in={fate.lot for fate in fates if fate.lot})
    lots = {lot.number: lot for lot in lots.select_related("place")}
    left = scope.operations(viewer).filter(number__in={fate.operation for fate in fates if fate.operation})
    left = {operation.number: operation for operation in left.select_related("party")}
    rows = _pivoted(fates, lots, left)
    sums = OriginReceipt.objects.filter(origin__in=origins).aggregate(
        **{metal: Sum(f"{metal.lower()}_mg") for metal in METALS}
    )
    return Fates(tuple(parcels), tuple(rows), tuple(int(sums[metal] or 0) for metal in METALS))


def _pivoted(fates: Iterable[trace.Fate], lots: dict[str, Lot], left: dict[str, Operation]) -> list[Found]:
    sums: dict[tuple, list[int]] = {}
    for fate in fates:
        key = _key(fate, lots.get(fate.lot), left.get(fate.operation))
        mgs = sums.setdefault(key, [0] * len(COLUMNS))
        mgs[COLUMNS.index(fate.metal)] += fate.mg
    found = [
        Found(group, lot, words, where, operation, tuple(mgs[1:]), mgs[0])
        for (_, group, lot, words, where, operation), mgs in sorted(sums.items(), key=lambda item: item[0])
    ]
    return [row for row in found if any(row.metals_mg) or row.unvalued_mg]


def _key(fate: trace.Fate, lot: Lot | None, left: Operation | None) -> tuple:
    """Rank and name of the group, then what names the row."""
    where = str(lot.place) if lot and lot.place else ""
    form = Form(lot.form).label if lot else ""
    if fate.fate == "bar":
        return (0, f"bars of {_chief(lot)}", fate.lot, fate.serial, where, "")
    if fate.fate == "dispatched":
        party = str(left.party) if left and left.party else ""
        return (3, "dispatched", fate.lot, f"{form} {fate.serial}".strip(), party, fate.operation)
    if fate.fate == "loss":
        group = {Cause.DIFFERENCE: "differences", Cause.SAMPLE: "samples consumed"}.get(fate.cause, "lost")
        return (5 if group == "differences" else 4, group, "", fate.cause, "", "")
    if lot and lot.form == Form.IN_PROCESS:
        return (2, "in vessels", fate.lot, "", where, "")
    return (1, form, fate.lot, "", where, "")


def _chief(lot: Lot | None) -> str:
    """The metal that a bar is mostly of."""
    if lot is None:
        return "metal"
    return max(METALS, key=lambda metal: getattr(lot, f"{metal.lower()}_mg"))
