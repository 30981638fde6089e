"""Indications: what X-rays or the density of a piece suggest. They value nothing and are never accepted."""

from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from custody.actions import _post
from custody.calc.density import Indication as Range
from custody.errors import NotAllowed, Refusal, RequestKey
from custody.models import Indication, Lot, User
from custody.roles import Verb, may
from custody.terms import INDICATIONS, PPM, Method

#: Who holds the instrument: the counter, or the laboratory.
ALLOWED = (Verb.RECEIVE, Verb.DETERMINE, Verb.SAMPLE)


def indicate(
    *,
    lot: Lot,
    method: Method,
    metal: str,
    found: Range,
    figures: str,
    at: datetime,
    by: User,
    request_key: UUID | None = None,
) -> Indication:
    """Records that an instrument suggests a metal between two finenesses (ppm); ``figures`` is what it showed.

    The same form sent twice is one indication. Raises ``NotAllowed`` and ``Refusal``.
    """
    if not by.is_active or not any(may(by.roles, verb) for verb in ALLOWED):
        raise NotAllowed(f"{by} may not record an indication. Ask a manager for the role.")
    if method not in INDICATIONS:
        raise Refusal(f"{method.label} is a determination: the laboratory records it.").at("by_what")
    if not 0 <= found.low_ppm <= found.high_ppm <= PPM:
        raise Refusal("An indication lies between 0 and 1000 per mille.").at("shown")
    said = {
        "lot": lot,
        "method": str(method),
        "metal": metal,
        "low_ppm": found.low_ppm,
        "high_ppm": found.high_ppm,
        "figures": figures,
    }
    with _post.refusals(), transaction.atomic(durable=True):
        try:
            with transaction.atomic():
                return Indication.objects.create(at=at, by=by, request_key=request_key, **said)
        except IntegrityError:
            earlier = Indication.objects.filter(request_key=request_key).first() if request_key else None
            if earlier is None:
                raise
            if any(getattr(earlier, name) != value for name, value in said.items()):
                raise RequestKey(operation=f"an indication of lot {earlier.lot.number}") from None
            return earlier
