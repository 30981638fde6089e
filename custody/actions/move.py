"""Custody: handing lots over, weighed again, and sending metal out of the gate."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.actions._weighings import post_weighed
from custody.actions.weigh import Weighed
from custody.errors import Boxed, Refusal, ReturnedRule, SignedByBoth, WeighedOrSaysWhyNot
from custody.models import Lot, Party, Place, User
from custody.queries.boxes import torn
from custody.queries.gate import to_weigh
from custody.roles import Verb
from custody.terms import Against, IdentityKind, Kind, NotWeighed, Purpose


@dataclass(frozen=True, slots=True)
class Passing:
    """One lot that is handed over: weighed again, or the reason why not (the content of a vessel needs none).

    A difference that the scales do not explain needs ``explanation`` and a countersignature. ``seen`` is whether its
    label was scanned.
    """

    lot: str
    weighed: Weighed | None = None
    not_weighed: NotWeighed | None = None
    explanation: str = ""
    seen: bool = True

    def as_request(self) -> dict:
        """What the posting function reads of this lot."""
        said = {"lot": self.lot, "seen": self.seen, "explanation": self.explanation.strip()}
        if self.weighed:
            said["weighing"] = self.weighed.as_request()
        elif self.not_weighed:
            said["not_weighed"] = str(self.not_weighed)
        return said


@dataclass(frozen=True, slots=True)
class Collected:
    """By which order metal leaves, who fetches it, which identity was seen, and for which carrier."""

    order: str
    collector: str
    identity_kind: IdentityKind
    identity_number: str
    carrier: str = ""

    def as_request(self) -> dict:
        """The entry ``collection``."""
        return {
            "order": self.order.strip(),
            "collector": self.collector.strip(),
            "identity_kind": str(self.identity_kind),
            "identity_number": self.identity_number.strip(),
            "carrier": self.carrier.strip(),
        }


def hand_over(
    *,
    lots: list[Passing],
    to_person: User,
    to_place: Place,
    at: datetime,
    by: User,
    note: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> int:
    """Passes lots to a person at a place, all or none, and gives how many. Who gives or who takes records it.

    A difference beyond the scales' errors, and a lot that no scale could weigh, need ``countersign``, a manager's.
    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.HAND_OVER)
    require(to_person, Verb.HAND_OVER)
    common = {"to_person": to_person.pk, "to_place": to_place.code, "note": note}
    return _pass_all(lots, common, at, by, countersign, request_key)


def take_over(
    *,
    lots: list[Passing],
    from_person: User,
    to_person: User,
    at: datetime,
    by: User,
    signed: Signature,
    note: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> int:
    """A shift handover: lots pass from one person to another where they are, all or none; gives how many are told of.

    Both sign: one as ``by``, the other by ``signed``. A lot that was not found (``NotWeighed.MISSING``) stays with who
    gives, with the reason in its ``explanation``. Raises ``NotAllowed`` and ``Refusal``.
    """
    for person in (by, from_person, to_person):
        require(person, Verb.HAND_OVER)
    if {by.pk, signed.user.pk} != {from_person.pk, to_person.pk} or from_person == to_person:
        raise SignedByBoth()
    common = {"to_person": to_person.pk, "note": note, "signed_by": signed.user.pk}
    return _pass_all(lots, common, at, by, countersign, request_key)


def _pass_all(
    lots: list[Passing],
    common: dict,
    at: datetime,
    by: User,
    countersign: Signature | None,
    request_key: UUID | None,
) -> int:
    """Records the passings in one transaction, lots in the order in which every door locks them."""
    if not lots:
        raise Refusal("Name at least one lot to hand over.")
    passing = {one.lot: one for one in lots}
    if len(passing) != len(lots):
        raise Refusal("A lot is named twice. Name each lot once.")
    stays = {one.lot for one in lots if one.not_weighed is NotWeighed.MISSING}
    broken = torn(Lot.objects.filter(number__in=passing.keys() - stays, gross_mg__gt=0))
    if broken:
        raise Boxed(lot=broken[0].number, box=broken[1].number)
    common = common | {"at": at.isoformat(), "by": by.pk}
    common |= {"request_key": str(request_key)} if request_key else {}
    common |= countersign.as_request() if countersign else {}
    with _post.refusals(), transaction.atomic(durable=True):
        for number in _post.in_lock_order(passing):
            _post.call("custody_hand_over", json.dumps(common | passing[number].as_request()))
    return len(lots)


def dispatch(
    *,
    lots: list[str],
    party: Party,
    at: datetime,
    by: User,
    collected: Collected,
    against: Against = Against.SALE,
    weighed: Mapping[str, Weighed] | None = None,
    reason: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Sends whole lots out of the gate to a party: its own, or the house's against its claim or sold.

    Every lot that is no bar with a serial is weighed as it leaves (``weighed``, by number); what both scales' errors do
    not explain needs a reason and ``countersign``, a manager's. Parcels that go back unmelted: see ``give_back``.
    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.DISPATCH)
    if against is Against.RETURNED:
        raise ReturnedRule("A parcel that goes back is weighed again, from the page of its receipt.")
    weighed = weighed or {}
    for number in to_weigh(lots):
        if number not in weighed:
            raise WeighedOrSaysWhyNot(lot=number, said="is weighed as it leaves").at("lots")
    request = {
        "kind": str(Kind.DISPATCH),
        "at": at,
        "by": by.pk,
        "party": party.code,
        "against": str(against),
        "reason": reason.strip() or None,
        "collection": collected.as_request(),
        "inputs": [{"lot": lot} for lot in lots],
        "request_key": request_key,
    }
    return post_weighed(request, weighed, purpose=Purpose.GATE, countersign=countersign)
