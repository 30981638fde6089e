"""Returning parcels unmelted: weighed again as they leave, to whoever fetches them for the party that brought them."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.actions._weighings import post_weighed
from custody.actions.move import Collected
from custody.actions.weigh import Weighed
from custody.errors import ReasonNeeded, Refusal, UnknownLot
from custody.models import Lot, Operation, User
from custody.roles import Verb
from custody.terms import Against, Kind, Purpose


@dataclass(frozen=True, slots=True)
class GoingBack:
    """One parcel of the receipt, by its lot's number, with the weighing as it leaves."""

    lot: str
    weighed: Weighed


def give_back(
    *,
    receipt: Operation,
    parcels: list[GoingBack],
    reason: str,
    collected: Collected,
    at: datetime,
    by: User,
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Sends parcels of one receipt back as they came, whole, to the party that brought them.

    What both scales' errors do not explain between the book and the weighing now is countersigned, and the reason says
    it. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.RECEIVE)
    if not parcels:
        raise Refusal("Weigh at least one parcel that goes back.")
    if not reason.strip():
        raise ReasonNeeded("A return says why.")
    weighed = {parcel.lot: parcel.weighed for parcel in parcels}
    brought = set(Lot.objects.filter(created_by=receipt, number__in=weighed).values_list("number", flat=True))
    for number in weighed:
        if number not in brought:
            raise UnknownLot(lot=number)
    request = {
        "kind": str(Kind.DISPATCH),
        "at": at,
        "by": by.pk,
        "party": receipt.party.code,
        "against": str(Against.RETURNED),
        "reason": reason.strip(),
        "collection": collected.as_request(),
        "inputs": [{"lot": number} for number in weighed],
        "request_key": request_key,
    }
    return post_weighed(request, weighed, purpose=Purpose.RETURN, countersign=countersign)
