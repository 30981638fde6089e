"""Weighings: every one on a scale of the register that was checked that day, kept for ever."""

from datetime import datetime

from custody.actions.weigh import Weighed
from custody.errors import UnknownScale
from custody.models import Lot, Scale, User, Weighing
from custody.terms import Purpose


def keep_weighings(
    weighed: dict[str, Weighed], *, purpose: Purpose, at: datetime, by: User, operation: int | None = None
) -> None:
    """Keeps the weighings of lots (by number) inside the transaction of the caller's action.

    PostgreSQL refuses a scale that was not checked that day or failed. Raises ``Refusal``.
    """
    lots = dict(Lot.objects.filter(number__in=weighed).values_list("number", "id"))
    scales = dict(Scale.objects.filter(code__in={one.scale for one in weighed.values()}).values_list("code", "id"))
    for one in weighed.values():
        if one.scale not in scales:
            raise UnknownScale(scale=one.scale)
    Weighing.objects.bulk_create(
        Weighing(
            lot_id=lots[number],
            scale_id=scales[one.scale],
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
