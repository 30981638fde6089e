"""Electrolytic cells: the current that is read from them."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.calc.cell import MOST_MILLIAMPERE, MOST_MILLIVOLT
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
    replaces: CellReading | None = None,
    request_key: UUID | None = None,
) -> CellReading:
    """Keeps the mean current of a cell over a time, milliamperes and, where it was read, millivolts.

    A reading that ``replaces`` another says why in its note; the other stays in the record and counts no more. Raises
    ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.REFINE)
    with _post.refusals(), transaction.atomic(durable=True):
        earlier = _post.sent_before(CellReading, request_key)
        if earlier:
            return earlier
        if run.step not in (Kind.ELECTROLYSE_GOLD, Kind.ELECTROLYSE_SILVER):
            raise Refusal("Only a cell has a current.").at("run")
        if not from_at < to_at <= at:
            raise Refusal("A reading is over a time that is past: from before to.").at("to_at")
        if not 0 <= milliampere <= MOST_MILLIAMPERE:
            raise Refusal(f"A current lies between zero and {MOST_MILLIAMPERE // 1000} A. Check it.").at("current")
        if millivolt is not None and not 0 <= millivolt <= MOST_MILLIVOLT:
            raise Refusal(f"A cell's voltage lies between zero and {MOST_MILLIVOLT // 1000} V. Check it.").at("voltage")
        if replaces and not note.strip():
            raise Refusal("Say why the reading is replaced.").at("note")
        if replaces and hasattr(replaces, "replaced_by"):
            raise Refusal("This reading is replaced already. Replace the one that took its place.").at("from_at")
        return CellReading.objects.create(
            run=run,
            from_at=from_at,
            to_at=to_at,
            milliampere=milliampere,
            millivolt=millivolt,
            note=note.strip(),
            replaces=replaces,
            by=by,
            at=at,
            request_key=request_key,
        )
