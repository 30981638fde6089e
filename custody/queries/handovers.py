"""Handovers: a check weighing against the book, what a shift passes on, and what was recorded of it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Count, Max, Q, QuerySet

from custody.calc.refusals import Refused
from custody.calc.scales import Reweighing, compare_weighings
from custody.models import Handover, Lot, Place, Scale, User, Weighing
from custody.queries import scope
from custody.queries.scales import plate_of, usable_now
from custody.terms import NotWeighed

#: So many handovers of a place are looked through for its latest lists.
LOOKED_BACK = 500


def compare(weighed: Mapping[Lot, tuple[Scale, int]]) -> dict[str, Reweighing]:
    """Lots weighed again, each on a scale, net milligrams, against its book on the scale that weighed it last.

    The one check weighing of the house: at handovers, before a melt, at the gate and of what goes back. As PostgreSQL
    reckons it (sql/custody_moves.sql, counter.sql, scales.sql), so that all differences of a form are told at once. A
    mass that its scale does not weigh is left out.
    """
    newest = Weighing.objects.filter(lot__in=weighed).order_by("lot_id", "-id").distinct("lot_id")
    before = {weighing.lot_id: weighing.scale for weighing in newest.select_related("scale")}
    found = {}
    for lot, (scale, net_mg) in weighed.items():
        plates = plate_of(scale), plate_of(before.get(lot.pk, scale))
        try:
            found[lot.number] = compare_weighings(net_mg, lot.gross_mg, *plates)
        except Refused:
            continue
    return found


def scales_for(gross_mg: int) -> list[Scale]:
    """Scales that may weigh so much now."""
    return list(usable_now().filter(max_mg__gte=gross_mg, min_ug__lte=gross_mg * 1000))


def held_at(viewer: User, giver: User, places: Iterable[Place]) -> QuerySet[Lot]:
    """The lots and the contents of vessels that one person answers for at these places, by place."""
    return (
        scope.lots(viewer)
        .filter(gross_mg__gt=0, place__in=places, custodian=giver)
        .select_related("place", "bar", "parcel", "sample", "run__opened_by")
        .order_by("place__code", "id")
    )


def holders_at(viewer: User, place: Place) -> list[tuple[User, int]]:
    """Who answers for lots at a place, and for how many; who has the most in front."""
    counts = _counted(scope.lots(viewer).filter(place=place), "custodian")
    people = User.objects.in_bulk(list(counts))
    return [(people[pk], counts[pk]) for pk in counts]


def places_of(viewer: User, giver: User) -> list[tuple[Place, int]]:
    """Where one person answers for lots, and for how many."""
    counts = _counted(scope.lots(viewer).filter(custodian=giver), "place")
    places = Place.objects.in_bulk(list(counts))
    return sorted(((places[pk], counts[pk]) for pk in counts), key=lambda found: found[0].code)


def recorded(viewer: User, request_key: UUID) -> QuerySet[Handover]:
    """The handovers that one form recorded, what was not found at the end."""
    people = ("from_person", "to_person", "by", "signed_by", "countersigned_by")
    return (
        Handover.objects.filter(request_key=request_key, lot__in=scope.lots(viewer))
        .select_related("lot__bar", "from_place", "to_place", "weighing__scale", *people)
        .order_by("-seen", "to_place__code", "lot_id")
    )


@dataclass(frozen=True, slots=True)
class HandoverList:
    """What one form passed on at a place: when, by whom to whom, how many lots, and how many were not found."""

    key: UUID
    at: datetime
    giver: User
    taker: User | None
    lots: int
    missing: int


def latest(viewer: User, place: Place, most: int) -> list[HandoverList]:
    """The latest forms by which lots came or stayed at a place, the newest in front."""
    here = Handover.objects.filter(to_place=place, request_key__isnull=False, lot__in=scope.lots(viewer))
    # Of the last rows alone: years of handovers are not counted up for the newest ten.
    keys = set(here.order_by("-id").values_list("request_key", flat=True)[:LOOKED_BACK])
    rows = (
        here.filter(request_key__in=keys)
        .values("request_key", "at", "from_person")
        .annotate(
            taker=Max("to_person", filter=Q(seen=True)),
            lots=Count("pk"),
            missing=Count("pk", filter=Q(seen=False)),
            newest=Max("pk"),
        )
        .order_by("-newest")[:most]
    )
    rows = list(rows)
    people = User.objects.in_bulk({row[side] for row in rows for side in ("from_person", "taker") if row[side]})
    return [
        HandoverList(
            row["request_key"], row["at"], people[row["from_person"]], people.get(row["taker"]), row["lots"],
            row["missing"],
        )
        for row in rows
    ]  # fmt: skip


def how_passed(one: Handover) -> str:
    """How a lot passed, in words: on which scale, or why it was not weighed; and who signed beside."""
    if one.weighing:
        said = f"weighed on {one.weighing.scale.code}, {'keyed' if one.weighing.keyed else 'read from the scale'}"
    elif one.not_weighed == NotWeighed.MISSING:
        said = "NOT FOUND, stays with who gave"
    else:
        said = f"at book: {one.not_weighed}"
    if one.explanation:
        said += f"; {one.explanation}"
    if one.countersigned_by:
        said += f"; countersigned by {one.countersigned_by}: {one.countersign_meaning}"
    return said


def _counted(lots: QuerySet[Lot], field: str) -> dict[int, int]:
    counted = lots.filter(gross_mg__gt=0).values_list(field).annotate(lots=Count("pk")).order_by("-lots", field)
    return dict(counted)
