"""Weighings: every one on a scale of the register that was checked that day, kept for ever."""

from collections.abc import Mapping
from datetime import datetime

from django.db import transaction

from custody.actions import _post
from custody.actions._sign import Signature
from custody.actions.weigh import Weighed
from custody.errors import HandoverDifference, UnknownScale
from custody.models import Lot, Operation, Scale, User, Weighing
from custody.queries.handovers import compare
from custody.terms import Purpose


def unexplained(weighed: Mapping[str, Weighed]) -> HandoverDifference | None:
    """The first lot (by number) whose check weighing lies further from its book than both scales may be off; or None.

    Lots that hold nothing and unknown ones are left to the book. Raises ``UnknownScale``.
    """
    scales = _scales(weighed)
    lots = {lot.number: lot for lot in Lot.objects.filter(number__in=weighed, gross_mg__gt=0)}
    known = {number: one for number, one in weighed.items() if number in lots}
    found = compare({lots[number]: (scales[one.scale], one.net_mg) for number, one in known.items()})
    for number, difference in found.items():
        if not difference.explained:
            return HandoverDifference(
                lot=number,
                book_mg=lots[number].gross_mg,
                weighed_mg=weighed[number].net_mg,
                off_mg=abs(difference.difference_mg),
                allowed_ug=difference.allowed_ug,
            )
    return None


def keep_weighings(
    weighed: dict[str, Weighed], *, purpose: Purpose, at: datetime, by: User, operation: int | None = None
) -> None:
    """Keeps the weighings of lots (by number) inside the transaction of the caller's action.

    PostgreSQL refuses a scale that was not checked that day or failed. Raises ``Refusal``.
    """
    lots = dict(Lot.objects.filter(number__in=weighed).values_list("number", "id"))
    scales = _scales(weighed)
    Weighing.objects.bulk_create(
        Weighing(
            lot_id=lots[number],
            scale=scales[one.scale],
            gross_mg=one.gross_mg,
            tare_mg=one.tare_mg,
            net_mg=one.net_mg,
            gross_reading_id=one.gross_reading,
            tare_reading_id=one.tare_reading,
            purpose=str(purpose),
            operation_id=operation,
            at=at,
            by=by,
        )
        for number, one in weighed.items()
    )


def post_weighed(
    request: dict, weighed: Mapping[str, Weighed], *, purpose: Purpose, countersign: Signature | None
) -> _post.Posted:
    """Records a dispatch with the weighings of what leaves; what the scales do not explain is countersigned.

    Where they explain it, the signature is not kept: it would say that something had been wrong. Raises ``Refusal``.
    """
    with _post.refusals(), transaction.atomic(durable=True):
        difference = unexplained(weighed)
        if difference and not (countersign and request.get("reason")):
            raise difference
        # Sent twice, the lots left with the first; the request is the same as then.
        key = request.get("request_key")
        again = key and Operation.objects.filter(request_key=key, countersigned_by__isnull=False).exists()
        signed = countersign.as_request() if countersign and (difference or again) else {}
        posted = _post.post_in_transaction(request | signed)
        if not posted.replayed:
            by = User.objects.get(pk=request["by"])
            keep_weighings(dict(weighed), purpose=purpose, at=request["at"], by=by, operation=posted.id)
    return posted


def _scales(weighed: Mapping[str, Weighed]) -> dict[str, Scale]:
    scales = {scale.code: scale for scale in Scale.objects.filter(code__in={one.scale for one in weighed.values()})}
    for one in weighed.values():
        if one.scale not in scales:
            raise UnknownScale(scale=one.scale)
    return scales
