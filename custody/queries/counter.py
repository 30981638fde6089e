"""What the counter needs to know before a parcel is weighed."""

from django.db.models import QuerySet

from custody.models import Place, User, Weighing
from custody.queries import scope
from custody.terms import PlaceKind

#: How many of the latest weighings are looked through for the names of scales.
LOOKED_THROUGH = 500
#: More parties than this are found by typing, not in a list.
LISTED = 1000


def counters() -> QuerySet[Place]:
    """Places where metal is received."""
    return Place.objects.filter(kind=PlaceKind.COUNTER, active=True)


def scales() -> list[str]:
    """The scales in use, the last one used in front."""
    return list(dict.fromkeys(Weighing.objects.order_by("-id").values_list("scale", flat=True)[:LOOKED_THROUGH]))


def scale_of(viewer: User) -> str:
    """The scale that this person used last, or nothing."""
    return Weighing.objects.filter(by=viewer).order_by("-id").values_list("scale", flat=True).first() or ""


def party_choices(viewer: User) -> list[str]:
    """Parties as the counter's list offers them."""
    return [str(party) for party in scope.parties(viewer)[:LISTED]]
