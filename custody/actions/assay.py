"""Determinations, their acceptance by a second person, and the valuation that follows."""

from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, connection, transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.errors import Refusal, RequestKey
from custody.models import Acceptance, Determination, Lot, Operation, User
from custody.roles import Verb
from custody.terms import METALS, PPM


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
        raise Refusal("The metals sum to more than the whole. Check the fineness of each.")
    if any(value < 0 for value in ppm.values()) or not ppm:
        raise Refusal("Give the fineness of at least one metal.")
    said = {"lot": lot, "sample": sample, "method": method, "note": note, "by": by}
    said |= {f"{metal.lower()}_ppm": ppm.get(metal, 0) for metal in METALS}
    with _post.refusals(), transaction.atomic(durable=True):
        try:
            with transaction.atomic():
                return Determination.objects.create(number=_next_number(at), at=at, request_key=request_key, **said)
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
        raise Refusal(f"Determination {determination.number} is accepted already.")
    return earlier


def _next_number(at: datetime) -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT nextval('custody_number_determination'), to_char(custody_local_day(%s), 'YY')", [at])
        count, year = cursor.fetchone()
    return f"A{year}-{count:05d}"
