"""Water that leaves by the drain: a declared loss of its metal, within the permit or not at all."""

from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._steps import Lose, Take, record
from custody.calc.apportion import withdraw
from custody.calc.solutions import mass_mg, volume_ml
from custody.errors import EffluentUnassayed, Overdraw
from custody.models import Lot, User
from custody.queries.water import assayed_as_it_is
from custody.roles import verb_of
from custody.terms import METALS, Cause, Kind


def discharge(
    *, lot: Lot, volume: int | None, at: datetime, by: User, note: str = "", request_key: UUID | None = None
) -> _post.Posted:
    """So many millilitres of a treated solution leave by the drain (``None``: all of it), metals pro rata, as effluent.

    PostgreSQL refuses water that is not assayed as it is, not measured, or outside the permit. Raises ``NotAllowed``
    and ``Refusal``.
    """
    require(by, verb_of(Kind.DISCHARGE))
    with _post.refusals(), transaction.atomic(durable=True):
        held = Lot.objects.get(pk=lot.pk)
        gross = _gross(held, volume, by)
        metals = withdraw(held.gross_mg, held.metals_mg, gross) if gross < held.gross_mg else held.metals_mg
        return record(
            kind=Kind.DISCHARGE,
            inputs=[Take(held.number, gross if gross < held.gross_mg else None)],
            outputs=[],
            losses=[Lose(Cause.EFFLUENT, gross, dict(zip(METALS, metals, strict=True)), note.strip())],
            at=at,
            by=by,
            request_key=request_key,
        )


def _gross(held: Lot, volume: int | None, by: User) -> int:
    assay = assayed_as_it_is(held, by)
    if volume is None:
        return held.gross_mg
    if assay is None:
        raise EffluentUnassayed(lot=held.number)
    gross, whole = mass_mg(volume, assay.density_mg_ml), volume_ml(held.gross_mg, assay.density_mg_ml)
    if volume > whole:
        raise Overdraw(lot=held.number, book_mg=held.gross_mg, missing_mg=gross - held.gross_mg).at("volume")
    return held.gross_mg if volume == whole else gross
