"""Custody: handing lots over, and sending metal out of the gate."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.errors import Refusal
from custody.models import Party, Place, User
from custody.roles import Verb
from custody.terms import Against, Kind


@dataclass(frozen=True, slots=True)
class Passing:
    """One lot that is handed over, with its check weighing in milligrams (empty: at book, not weighed)."""

    lot: str
    weighed_mg: int | None = None


def hand_over(
    *,
    lots: list[Passing],
    to_person: User,
    to_place: Place,
    at: datetime,
    by: User,
    note: str = "",
    request_key: UUID | None = None,
) -> int:
    """Passes lots to a person at a place, all or none, and gives how many. Who gives or who takes records it.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.HAND_OVER)
    require(to_person, Verb.HAND_OVER)
    if not lots:
        raise Refusal("Name at least one lot to hand over.")
    if len({passing.lot for passing in lots}) != len(lots):
        raise Refusal("A lot is named twice. Name each lot once.")
    weighed = {passing.lot: passing.weighed_mg for passing in lots}
    with _post.refusals(), transaction.atomic(durable=True):
        for number in _post.in_lock_order(weighed):
            _post.call(
                "custody_hand_over",
                number,
                at,
                to_person.pk,
                to_place.code,
                weighed[number],
                note,
                by.pk,
                request_key,
            )
    return len(lots)


def dispatch(
    *,
    lots: list[str],
    party: Party,
    at: datetime,
    by: User,
    against: Against = Against.SALE,
    reason: str = "",
    request_key: UUID | None = None,
) -> _post.Posted:
    """Sends whole lots out of the gate to a party: its own, or the house's against its claim or sold.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.DISPATCH)
    return _post.post(
        {
            "kind": str(Kind.DISPATCH),
            "at": at,
            "by": by.pk,
            "party": party.code,
            "against": str(against),
            "reason": reason.strip() or None,
            "inputs": [{"lot": lot} for lot in lots],
            "request_key": request_key,
        }
    )
