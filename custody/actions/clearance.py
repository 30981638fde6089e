"""Compliance decides on several lots at once, all or none, with one reason."""

from datetime import datetime

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.errors import Refusal
from custody.models import User
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
        for lot in _post.in_lock_order(set(lots)):
            if _post.call("custody_clear", lot, str(clearance), reason.strip(), at, by.pk) is not None:
                changed.append(lot)
    return sorted(changed)
