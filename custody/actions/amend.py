"""Amending what was declared of a receipt: what was first written stays, what is right stands beside it."""

import json
from dataclasses import dataclass
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.errors import AmendedSince, ReasonNeeded, Refusal
from custody.models import Amendment, Operation, Parcel, User
from custody.queries.amendments import OF_DELIVERY, OF_PARCEL, amended_receipt, as_amended, kept
from custody.roles import Verb


@dataclass(frozen=True, slots=True)
class Change:
    """One field that was written wrongly: what the page said, and what is right. Without ``lot``, of the delivery."""

    field: str
    before: str
    after: str
    lot: str = ""


def amend(
    *,
    receipt: Operation,
    changes: list[Change],
    reason: str,
    by: User,
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> int:
    """Records what is right of a receipt's declarations, all or nothing, and gives how many were changed.

    A changed origin, and any change after the melt, is countersigned. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.RECEIVE)
    if not changes:
        raise Refusal("Nothing is changed. Correct what was written wrongly, or leave the page.")
    if not reason.strip():
        raise ReasonNeeded("An amendment says why.")
    with _post.refusals(), transaction.atomic(durable=True):
        if not request_key or not Amendment.objects.filter(receipt=receipt, request_key=request_key).exists():
            _check_seen(receipt, changes)
        numbers = _post.in_lock_order({change.lot for change in changes})
        for change in sorted(changes, key=lambda one: numbers.index(one.lot)):
            request = {
                "receipt": receipt.number,
                "field": change.field,
                "before": change.before,
                "after": change.after,
                "reason": reason.strip(),
                "by": by.pk,
                **({"lot": change.lot} if change.lot else {}),
                **({"request_key": str(request_key)} if request_key else {}),
                **(countersign.as_request() if countersign else {}),
            }
            _post.call("custody_amend", json.dumps(request))
    return len(changes)


def _check_seen(receipt: Operation, changes: list[Change]) -> None:
    """What is amended is what the page said: nobody overwrites an amendment unseen."""
    now = amended_receipt(Operation.objects.select_related("delivery").get(pk=receipt.pk))
    parcels = {
        parcel.lot.number: parcel
        for parcel in as_amended(Parcel.objects.filter(lot__created_by=receipt).select_related("lot"))
    }
    for change in changes:
        if change.lot:
            known = change.lot in parcels and change.field in OF_PARCEL
            says = kept(parcels[change.lot], change.field) if known else ""
        else:
            known = change.field in OF_DELIVERY
            of = now if change.field == "delivered_by" else getattr(now, "delivery", None)
            says = getattr(of, change.field, "") if known else ""
        if not known:
            raise Refusal(f"{change.field} of {change.lot or receipt.number} is nothing that can be amended.")
        if says != change.before:
            raise AmendedSince(now=says)
