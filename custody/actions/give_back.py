"""Returning parcels unmelted: weighed again as they leave, to whoever fetches them for the party that brought them."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.actions._weighings import keep_weighings
from custody.actions.move import Collected
from custody.actions.weigh import Weighed
from custody.calc.scales import compare_weighings
from custody.errors import HandoverDifference, ReasonNeeded, Refusal, UnknownLot, UnknownScale
from custody.models import Lot, Operation, Scale, User, Weighing
from custody.queries.scales import plate_of
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
    with _post.refusals(), transaction.atomic(durable=True):
        unexplained = _first_unexplained(receipt, parcels, request_key)
        if unexplained and countersign is None:
            raise unexplained
        posted = _post.post_in_transaction(
            {
                "kind": str(Kind.DISPATCH),
                "at": at,
                "by": by.pk,
                "party": receipt.party.code,
                "against": str(Against.RETURNED),
                "reason": reason.strip(),
                "collection": collected.as_request(),
                "inputs": [{"lot": parcel.lot} for parcel in parcels],
                "request_key": request_key,
                **(countersign.as_request() if unexplained else {}),
            }
        )
        if not posted.replayed:
            weighed = {parcel.lot: parcel.weighed for parcel in parcels}
            keep_weighings(weighed, purpose=Purpose.RETURN, at=at, by=by, operation=posted.id)
    return posted


def _first_unexplained(
    receipt: Operation, parcels: list[GoingBack], request_key: UUID | None
) -> HandoverDifference | None:
    """The first parcel whose weight lies further from its book than both scales may be off."""
    if request_key and Operation.objects.filter(request_key=request_key).exists():
        return None  # sent twice: the lots left with the first
    lots = {lot.number: lot for lot in Lot.objects.filter(created_by=receipt)}
    for parcel in parcels:
        lot = lots.get(parcel.lot)
        if lot is None:
            raise UnknownLot(lot=parcel.lot)
        now_on = Scale.objects.filter(code=parcel.weighed.scale).first()
        if now_on is None:
            raise UnknownScale(scale=parcel.weighed.scale)
        before = Weighing.objects.filter(lot=lot).select_related("scale").order_by("-id").first()
        then_on = plate_of(before.scale if before else now_on)
        net = parcel.weighed.net_mg
        found = compare_weighings(net, lot.gross_mg, plate_of(now_on), then_on)
        if not found.explained:
            return HandoverDifference(
                lot=lot.number,
                book_mg=lot.gross_mg,
                weighed_mg=net,
                off_mg=abs(found.difference_mg),
                allowed_ug=found.allowed_ug,
            )
    return None
