"""What the counter needs to know before a parcel is weighed."""

from django.db.models import QuerySet

from custody.models import Place, User
from custody.queries import scope
from custody.terms import PlaceKind

#: More parties than this are found by typing, not in a list.
LISTED = 1000


def counters() -> QuerySet[Place]:
    """Places where metal is received."""
    return Place.objects.filter(kind=PlaceKind.COUNTER, active=True)


def party_choices(viewer: User) -> list[str]:
    """Parties as the counter's list offers them."""
    return [str(party) for party in scope.parties(viewer)[:LISTED]]
