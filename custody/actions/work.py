"""The steps of the plant: melt, sample, refine, run, cast, divide; and what mends them: difference, reversal."""

from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.actions._steps import Add, Drawn, ForOrder, Lose, Make, Take, record
from custody.actions.weigh import Weighed
from custody.models import Operation, Place, User
from custody.roles import Verb, verb_of
from custody.terms import METALS, Cause, Kind

__all__ = ["Add", "Drawn", "ForOrder", "Lose", "Make", "Take", "correct_lot", "record_step", "reverse"]


def record_step(
    *,
    kind: Kind,
    inputs: list[Take],
    outputs: list[Make],
    at: datetime,
    by: User,
    place: Place | None = None,
    additions: tuple[Add, ...] = (),
    losses: tuple[Lose, ...] = (),
    reason: str = "",
    step: Kind | None = None,
    countersign: Signature | None = None,
    weighed_in: dict[str, Weighed] | None = None,
    for_order: ForOrder | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Records one step or one event of a run, balanced to the milligram, in the custody of ``by``.

    ``step`` names the wet step that a first charge opens; ``weighed_in`` are weighings of the lots that went in, by
    number; ``for_order`` says which route order this is work on. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, verb_of(kind))
    with _post.refusals(), transaction.atomic(durable=True):
        return record(
            kind=kind,
            inputs=inputs,
            outputs=outputs,
            at=at,
            by=by,
            place=place,
            additions=additions,
            losses=losses,
            reason=reason,
            step=step,
            countersign=countersign,
            weighed_in=weighed_in,
            for_order=for_order,
            request_key=request_key,
        )


def correct_lot(
    *,
    lot: str,
    gross_mg: int,
    fine_mg: dict[str, int],
    book_mg: tuple[int, ...],
    at: datetime,
    reason: str,
    countersign: Signature,
    by: User,
    about: date | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Posts the difference between a lot's book (gross and five metals, mg) and what was measured, openly.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.CORRECT)
    measured = (gross_mg, *(fine_mg.get(metal, 0) for metal in METALS))
    gap = [book - now for book, now in zip(book_mg, measured, strict=True)]
    return _post.post(
        {
            "kind": str(Kind.DIFFERENCE),
            "at": at,
            "by": by.pk,
            "about": about.isoformat() if about else None,
            "reason": reason.strip(),
            "inputs": [{"lot": lot}],
            "outputs": [{"form": "other", "gross_mg": gross_mg, "fine_mg": fine_mg}],
            "losses": [
                {
                    "cause": str(Cause.DIFFERENCE),
                    "gross_mg": gap[0],
                    "fine_mg": dict(zip(METALS, gap[1:], strict=True)),
                }
            ],
            "request_key": request_key,
            **countersign.as_request(),
        }
    )


def reverse(
    *, operation: Operation, reason: str, at: datetime, by: User, request_key: UUID | None = None
) -> _post.Posted:
    """Undoes a whole operation by a mirror operation that names it; both stay in the record.

    Raises ``NotAllowed`` and ``Refusal`` (which names what to reverse first).
    """
    require(by, Verb.REVERSE)
    return _post.post(
        {
            "kind": str(Kind.REVERSE),
            "at": at,
            "by": by.pk,
            "reverses": operation.number,
            "reason": reason.strip() or None,
            "request_key": request_key,
        }
    )
