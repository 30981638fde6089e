"""Determinations, their acceptance by a second person, and the valuation that follows."""

from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._numbers import next_number
from custody.actions._sign import Signature
from custody.errors import AcceptedByAnother, Refusal, RequestKey
from custody.models import Acceptance, Determination, Lot, Operation, RepeatOrder, User
from custody.queries.worksheets import worked_on
from custody.roles import Verb
from custody.terms import INDICATIONS, METALS, PPM


def determine(
    *,
    lot: Lot,
    ppm: dict[str, int],
    method: str,
    at: datetime,
    by: User,
    sample: Lot | None = None,
    note: str = "",
    request_key: UUID | None = None,
) -> Determination:
    """Records the laboratory's fineness of a lot, parts per million by mass. It changes nothing in the book yet.

    The same form sent twice (``request_key``) is one determination. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.DETERMINE)
    if sum(ppm.values()) > PPM:
        refusal = Refusal("The metals sum to more than the whole. Check the fineness of each.")
        raise refusal.at(max(ppm, key=ppm.get))
    if method in INDICATIONS:
        refusal = Refusal("X-rays, density and a declaration are indications, no determination. Keep it as such.")
        raise refusal.at("method")
    if any(value < 0 for value in ppm.values()) or not ppm:
        raise Refusal("Give the fineness of at least one metal.").at("Au")
    said = {"lot": lot, "sample": sample, "method": method, "note": note, "by": by}
    said |= {f"{metal.lower()}_ppm": ppm.get(metal, 0) for metal in METALS}
    with _post.refusals(), transaction.atomic(durable=True):
        try:
            with transaction.atomic():
                return Determination.objects.create(
                    number=next_number("A", "determination", at), at=at, request_key=request_key, **said
                )
        except IntegrityError:
            earlier = Determination.objects.filter(request_key=request_key).first() if request_key else None
            if earlier is None:
                raise
            if any(getattr(earlier, name) != value for name, value in said.items()):
                raise RequestKey(operation=earlier.number) from None
            return earlier


def accept(
    *,
    determination: Determination,
    at: datetime,
    by: User,
    reason: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Accepts a determination and values its lot by it, in one transaction.

    The first valuation is the receipt of the metal and values the samples drawn; a later one corrects what was received
    or posts a difference. Raises ``NotAllowed`` and ``Refusal``; never accepts the acceptor's own determination (I12).
    """
    require(by, Verb.ACCEPT)
    with _post.refusals(), transaction.atomic(durable=True):
        acceptance = _acceptance(determination, at, by, request_key)
        return _post.post_in_transaction(
            {
                "kind": "value",
                "at": at,
                "by": by.pk,
                "lot": determination.lot.number,
                "acceptance": acceptance.pk,
                "reason": reason.strip() or None,
                "request_key": request_key,
                **(countersign.as_request() if countersign else {}),
            }
        )


def _acceptance(determination: Determination, at: datetime, by: User, request_key: UUID | None) -> Acceptance:
    """The acceptance, made once. Only the very form that made it meets it again: sent twice, it is recorded once."""
    earlier = Acceptance.objects.filter(determination=determination).first()
    if earlier is None:
        try:
            with transaction.atomic():
                return Acceptance.objects.create(determination=determination, by=by, at=at)
        except IntegrityError:  # somebody else accepted it this very moment
            earlier = Acceptance.objects.get(determination=determination)
    if not request_key or not Operation.objects.filter(acceptance=earlier, request_key=request_key).exists():
        raise Refusal(f"Determination {determination.number} is accepted already.").at("determination")
    return earlier


def assay_again(*, determination: Determination, reason: str, at: datetime, by: User) -> RepeatOrder:
    """Turns a determination down, with a reason: its lot is assayed again, and it can't be accepted any more.

    For whoever may accept it, so never for who worked on it. Said twice, it counts once. Raises ``NotAllowed`` and
    ``Refusal``.
    """
    require(by, Verb.ACCEPT)
    earlier = RepeatOrder.objects.filter(determination=determination).first()
    if earlier:
        return earlier
    if Acceptance.objects.filter(determination=determination).exists():
        raise Refusal(f"Determination {determination.number} is accepted already.").at("determination")
    if determination.by_id == by.pk or worked_on(determination, by):
        raise AcceptedByAnother(determination=determination.pk)
    if not reason.strip():
        raise Refusal("Say why the lot is assayed again.").at("reason")
    with _post.refusals(), transaction.atomic(durable=True):
        return RepeatOrder.objects.create(
            determination=determination,
            worksheet=determination.worksheet,
            lot=determination.lot,
            sentence=reason.strip(),
            at=at,
            by=by,
        )
