"""Weighing a lot again where it stands: kept beside its book, which stays as it is."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions.weigh import Weighed
from custody.errors import InProcess, NotCustodian, Overdraw, UnknownScale
from custody.models import Lot, Scale, User, Weighing
from custody.roles import Verb
from custody.terms import Form, Purpose


def weigh_again(*, lot: Lot, weighed: Weighed, at: datetime, by: User, request_key: UUID | None = None) -> Weighing:
    """Keeps a weighing of a lot in the hands of ``by``; what it differs by is told, and posted by a correction alone.

    The same form sent twice is one weighing. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.WEIGH)
    with _post.refusals(), transaction.atomic(durable=True):
        earlier = _post.sent_before(Weighing, request_key)
        if earlier:
            return earlier
        now = Lot.objects.get(pk=lot.pk)
        if not now.gross_mg:
            raise Overdraw(lot=now.number, book_mg=0)
        if now.form == Form.IN_PROCESS:
            raise InProcess(lot=now.number)
        if now.custodian_id != by.pk:
            raise NotCustodian(lot=now.number)
        scale = Scale.objects.filter(code=weighed.scale).first()
        if scale is None:
            raise UnknownScale(scale=weighed.scale)
        return Weighing.objects.create(
            lot=now,
            scale=scale,
            gross_mg=weighed.gross_mg,
            tare_mg=weighed.tare_mg,
            net_mg=weighed.net_mg,
            gross_reading_id=weighed.gross_reading,
            tare_reading_id=weighed.tare_reading,
            purpose=Purpose.AGAIN,
            request_key=request_key,
            at=at,
            by=by,
        )
