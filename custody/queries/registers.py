"""The registers of the counter: paper slips with what became of each, and parcels that were refused."""

from django.db.models import QuerySet

from custody.models import RefusedParcel, Slip, User
from custody.queries import scope

OPEN, ENTERED, SPOILED = "open", "entered", "spoiled"


def slips(viewer: User) -> QuerySet[Slip]:
    """Slips, the latest first, with the receipt that each was entered as."""
    related = ("printed_by", "document", "delivery__operation", "spoiled__by")
    return scope.slips(viewer).select_related(*related).order_by("-id")


def state_of(slip: Slip) -> str:
    """What became of a slip, in one word."""
    if hasattr(slip, "delivery"):
        return ENTERED
    return SPOILED if hasattr(slip, "spoiled") else OPEN


def refused_parcels(viewer: User) -> QuerySet[RefusedParcel]:
    """Refused parcels, the latest first."""
    return scope.refused_parcels(viewer).select_related("party", "receipt", "by", "scale", "place").order_by("-id")
