"""Lots on which compliance has to decide, with what was declared of them."""

from django.db.models import OuterRef, QuerySet, Subquery

from custody.models import ClearanceEvent, Lot, User
from custody.queries.today import lots_there
from custody.terms import Clearance

#: As many as a person can decide on in one sitting; the rest follows when these are decided.
LISTED = 200


def to_decide(viewer: User, *, receipt: str = "", lot: str = "") -> QuerySet[Lot]:
    """Lots awaiting release and held ones, in the order received; of one receipt, or one lot, whatever its standing.

    ``reason`` is that of the last decision.
    """
    found = lots_there(viewer)
    if lot:
        found = found.filter(number=lot)
    elif receipt:
        found = found.filter(receipt__number=receipt)
    else:
        found = found.filter(clearance__in=(Clearance.AWAITING, Clearance.HELD))
    last = ClearanceEvent.objects.filter(lot=OuterRef("pk")).order_by("-id").values("reason")[:1]
    related = ("receipt__party", "parcel", "owner", "custodian", "place")
    return found.select_related(*related).annotate(reason=Subquery(last)).order_by("receipt_id", "id")
