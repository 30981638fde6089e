"""What waits today, seen by one viewer: lots, runs, assays and receipts that somebody has to do something about."""

from dataclasses import dataclass

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from custody.models import Determination, Lot, Operation, SolutionAssay, User
from custody.queries import plant, scope, tanks
from custody.queries.exchanges import exchange_due
from custody.queries.settling import MAY_WAIT, to_be_settled
from custody.queries.worksheets import worked_on_by
from custody.terms import Clearance, PlaceKind


@dataclass(frozen=True, slots=True)
class PlaceCount:
    """How many lots stand at a place, with what gross in milligrams."""

    code: str
    name: str
    lots: int
    gross_mg: int


def lots_there(viewer: User) -> QuerySet[Lot]:
    """Lots with mass in them."""
    return scope.lots(viewer).filter(gross_mg__gt=0)


def in_custody_of(viewer: User) -> QuerySet[Lot]:
    """Lots that this person answers for now."""
    return lots_there(viewer).filter(custodian=viewer).select_related("place")


def at_the_counter(viewer: User) -> QuerySet[Lot]:
    """Lots that this person still holds where they were received."""
    return in_custody_of(viewer).filter(place__kind=PlaceKind.COUNTER)


def awaiting_release(viewer: User) -> QuerySet[Lot]:
    """Lots that compliance has not decided on."""
    return lots_there(viewer).filter(clearance=Clearance.AWAITING)


def held(viewer: User) -> QuerySet[Lot]:
    """Lots that nobody may work."""
    return lots_there(viewer).filter(clearance=Clearance.HELD)


def awaiting_assay(viewer: User) -> QuerySet[Lot]:
    """Unvalued lots without a determination; samples are valued with the lot they were drawn from."""
    asked = Determination.objects.filter(lot=OuterRef("pk"), repeat=None)
    return lots_there(viewer).filter(~Exists(asked), valued=False).exclude(form__in=MAY_WAIT)


def awaiting_acceptance(viewer: User) -> QuerySet[Determination]:
    """Determinations of unvalued lots that this person may accept: not their own (I12), nor what is exchanged."""
    return (
        Determination.objects.filter(lot__in=lots_there(viewer).filter(valued=False), acceptance=None, repeat=None)
        .annotate(exchange_terms=exchange_due("lot"), worked=worked_on_by(viewer))
        .filter(worked=False)
        .filter(Q(exchange__isnull=False) | Q(lot__exchange=None, exchange_terms=None))
        .exclude(by=viewer)
        .select_related("lot")
    )


def solution_assays_to_accept(viewer: User) -> QuerySet[SolutionAssay]:
    """Assays of solutions and tanks that this person may accept: not their own (I12)."""
    return tanks.waiting_assays(viewer).exclude(by=viewer)


def open_runs(viewer: User) -> list[plant.OpenRun]:
    """Runs that are not finished, the one due first in front."""
    return sorted(plant.open_runs(viewer), key=lambda run: run.due)


def receipts_to_settle(viewer: User) -> QuerySet[Operation]:
    """Receipts that can be settled, whose lots are all valued."""
    waiting = Lot.objects.filter(receipt=OuterRef("pk"), valued=False, gross_mg__gt=0).exclude(form__in=MAY_WAIT)
    return to_be_settled(scope.receipts(viewer)).filter(~Exists(waiting))


def by_place(viewer: User) -> list[PlaceCount]:
    """What stands where."""
    rows = (
        lots_there(viewer)
        .filter(place__isnull=False)
        .order_by("place__code")
        .values_list("place__code", "place__name")
        .annotate(lots=Count("id"), gross=Coalesce(Sum("gross_mg"), 0))
    )
    return [PlaceCount(*row) for row in rows]
