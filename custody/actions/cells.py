"""Electrolytic cells: the current that is read from them."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.errors import Refusal
from custody.models import CellReading, Run, User
from custody.roles import Verb
from custody.terms import Kind


def keep_current(
    *,
    run: Run,
    from_at: datetime,
    to_at: datetime,
    milliampere: int,
    at: datetime,
    by: User,
    millivolt: int | None = None,
    note: str = "",
    request_key: UUID | None = None,
) -> CellReading:
    """Keeps the mean current of a cell over a time, milliamperes. Raises ``NotAllowed`` and ``Refusal``."""
    require(by, Verb.REFINE)
    earlier = CellReading.objects.filter(request_key=request_key).first() if request_key else None
    if earlier:
        return earlier
    if run.step not in (Kind.ELECTROLYSE_GOLD, Kind.ELECTROLYSE_SILVER):
        raise Refusal("Only a cell has a current.").at("run")
    if not from_at < to_at <= at:
        raise Refusal("A reading is over a time that is past: from before to.").at("to_at")
    if milliampere < 0:
        raise Refusal("A current is zero or more.").at("current")
    with _post.refusals(), transaction.atomic(durable=True):
        return CellReading.objects.create(
            run=run,
            from_at=from_at,
            to_at=to_at,
            milliampere=milliampere,
            millivolt=millivolt,
            note=note.strip(),
            by=by,
            at=at,
            request_key=request_key,
        )
