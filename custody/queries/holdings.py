"""What is where: places with what stands in them, bars by size, and the rest of the lots."""

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Count, Q, QuerySet, Sum

from custody.calc.balance import total
from custody.calc.bar_sizes import SIZES, nominal_size, serial_ranges
from custody.models import Bar, Handover, Lot, Place, User
from custody.queries import scope
from custody.roles import MAY, Verb
from custody.terms import COLUMNS, METALS, PlaceKind


@dataclass(frozen=True, slots=True)
class Holding:
    """What stands at one place: lots, bars among them, gross and valued metals in mg, and the gross not valued yet."""

    place: Place
    lots: int
    bars: int
    columns_mg: tuple[int, ...]
    unvalued_mg: int


@dataclass(frozen=True, slots=True)
class Metal:
    """One metal of a sum, in milligrams, of which so much in vaults."""

    metal: str
    vault_mg: int
    house_mg: int


@dataclass(frozen=True, slots=True)
class Size:
    """Bars of one nominal size: how many, gross and fine gold in mg, their serials drawn together."""

    name: str
    bars: int
    gross_mg: int
    au_mg: int
    serials: tuple[str, ...]


def holdings(viewer: User) -> list[Holding]:
    """Every place that holds something, in the order of their codes."""
    sums = {column: Sum(f"{column.lower()}_mg") for column in COLUMNS}
    rows = (
        scope.lots(viewer)
        .filter(gross_mg__gt=0, place__isnull=False)
        .values("place")
        .annotate(
            lots=Count("pk"),
            bars=Count("pk", filter=Q(bar__isnull=False)),
            unvalued=Sum("gross_mg", filter=Q(valued=False), default=0),
            **sums,
        )
        .order_by("place__code")
    )
    rows = list(rows)
    places = Place.objects.in_bulk([row["place"] for row in rows])
    return [
        Holding(
            places[row["place"]],
            row["lots"],
            row["bars"],
            tuple(row[column] for column in COLUMNS),
            row["unvalued"],
        )
        for row in rows
    ]


def metals_of(found: Iterable[Holding]) -> list[Metal]:
    """The metals in places, in vaults and together; a metal that is nowhere is left out."""
    found = list(found)
    house = total(holding.columns_mg for holding in found)
    vault = total(holding.columns_mg for holding in found if holding.place.kind == PlaceKind.VAULT)
    return [Metal(metal, vault[1 + i], house[1 + i]) for i, metal in enumerate(METALS) if house[1 + i]]


def lots_at(viewer: User, place: Place) -> QuerySet[Lot]:
    """The lots with mass in them at a place."""
    return (
        scope.lots(viewer)
        .filter(gross_mg__gt=0, place=place)
        .select_related("owner", "custodian", "bar")
        .order_by("id")
    )


def bars_at(viewer: User, place: Place) -> list[Bar]:
    """The bars at a place, the largest size first, by serial within a size."""
    bars = (
        scope.bars(viewer).filter(lot__gross_mg__gt=0, lot__place=place).select_related("lot__owner", "lot__custodian")
    )
    return sorted(bars, key=lambda bar: (SIZES.index(nominal_size(bar.lot.gross_mg)), len(bar.serial), bar.serial))


def by_size(bars: Iterable[Bar]) -> list[Size]:
    """Bars counted by nominal size, the largest first."""
    groups: dict[str, list[Bar]] = {}
    for bar in bars:
        groups.setdefault(nominal_size(bar.lot.gross_mg), []).append(bar)
    return [
        Size(
            name,
            len(groups[name]),
            sum(bar.lot.gross_mg for bar in groups[name]),
            sum(bar.lot.au_mg for bar in groups[name]),
            tuple(serial_ranges([bar.serial for bar in groups[name]])),
        )
        for name in SIZES
        if name in groups
    ]


def handed_over_by(request_key: UUID) -> bool:
    """Whether a form with this key recorded a handover already."""
    return Handover.objects.filter(request_key=request_key).exists()


def takers() -> QuerySet[User]:
    """People who may answer for metal."""
    roles = [role for role, verbs in MAY.items() if Verb.HAND_OVER in verbs]
    return (
        User.objects.filter(is_active=True, role_grants__role__in=roles).distinct().order_by("first_name", "last_name")
    )


def places() -> QuerySet[Place]:
    """The places in use."""
    return Place.objects.filter(active=True)
