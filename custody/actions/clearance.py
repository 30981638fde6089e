"""Compliance decides on several lots at once, all or none, with one reason."""

from datetime import datetime

from django.db import connection, transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.errors import Refusal
from custody.models import Lot, User
from custody.roles import Verb
from custody.terms import Clearance


def clear_lots(*, lots: list[str], clearance: Clearance, reason: str, at: datetime, by: User) -> list[str]:
    """Holds or releases lots with the reason, and gives those whose standing changed.

    A lot that stands so already keeps its earlier reason: a form sent twice is recorded once. Raises ``NotAllowed`` and
    ``Refusal``.
    """
    require(by, Verb.CLEAR)
    if not lots:
        raise Refusal("Choose at least one lot.")
    changed = []
    with _post.refusals(), transaction.atomic(durable=True):
        for lot in sorted(set(lots)):
            with connection.cursor() as cursor:
                # The application may not lock the lot's row: whoever decides on the same lot waits here.
                cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"clearance {lot}"])
            if not Lot.objects.filter(number=lot, clearance=clearance).exists():
                _post.call("custody_clear", lot, str(clearance), reason.strip(), at, by.pk)
                changed.append(lot)
    return changed
