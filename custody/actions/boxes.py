"""Bars packed together under one seal, and the box opened again."""

import json
from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.models import Box, BoxOpening, User
from custody.roles import Verb


def pack_box(
    *, bars: Sequence[str], seal: str, at: datetime, by: User, note: str = "", request_key: UUID | None = None
) -> Box:
    """Packs bars (their lot numbers, in the order of the box) that stand at one place in the hands of ``by``.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.DISPATCH)
    said = {"lots": list(bars), "seal": seal.strip(), "note": note.strip(), "at": at.isoformat(), "by": by.pk}
    said |= {"request_key": str(request_key)} if request_key else {}
    with _post.refusals(), transaction.atomic(durable=True):
        return Box.objects.get(pk=_post.call("custody_pack_box", json.dumps(said)))


def open_box(*, box: Box, reason: str, at: datetime, by: User) -> BoxOpening:
    """Opens a box for a reason; who holds its bars does. Raises ``NotAllowed`` and ``Refusal``."""
    require(by, Verb.DISPATCH)
    said = {"box": box.number, "reason": reason.strip(), "at": at.isoformat(), "by": by.pk}
    with _post.refusals(), transaction.atomic(durable=True):
        return BoxOpening.objects.get(pk=_post.call("custody_open_box", json.dumps(said)))
