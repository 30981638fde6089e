"""Replacing a receipt that was weighed or entered wrongly, before melting: reversed and recorded anew, both at once."""

from dataclasses import replace
from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.actions.receive import NewParty, ParcelEntry, Said, receive_in_transaction
from custody.errors import Bought, CountersignedByAnother, Refusal
from custody.models import Operation, Party, Place, Purchase, User
from custody.roles import Verb
from custody.terms import Basis, Kind


def replace_receipt(
    *,
    receipt: Operation,
    party: Party | NewParty,
    parcels: list[ParcelEntry],
    basis: Basis,
    delivered_by: str,
    at: datetime,
    place: Place,
    said: Said,
    reason: str,
    countersign: Signature,
    by: User,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Reverses the receipt and records the right one, which names it; whole or not at all.

    The front desk may not reverse by itself: a manager countersigns. Raises ``NotAllowed`` and ``Refusal``, which names
    what is to be reversed or handed back first.
    """
    require(by, Verb.RECEIVE)
    require(countersign.user, Verb.COUNTERSIGN)
    if countersign.user == by:
        raise CountersignedByAnother()
    if receipt.kind != Kind.RECEIVE:
        raise Refusal(f"{receipt.number} is no receipt.")
    if Purchase.objects.filter(receipt=receipt).exists():
        raise Bought(receipt=receipt.number)
    with _post.refusals(), transaction.atomic(durable=True):
        if not request_key or not Operation.objects.filter(request_key=request_key).exists():
            _post.post_in_transaction(
                {
                    "kind": str(Kind.REVERSE),
                    "at": timezone.now(),
                    "by": by.pk,
                    "reverses": receipt.number,
                    "reason": reason.strip(),
                    **countersign.as_request(),
                }
            )
        return receive_in_transaction(
            party=party,
            parcels=parcels,
            basis=basis,
            delivered_by=delivered_by,
            at=at,
            place=place,
            by=by,
            said=replace(said, replaces=receipt.number),
            request_key=request_key,
        )
