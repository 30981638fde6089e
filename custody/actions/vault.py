"""The vault: two people open and close it, and count what stands in it."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.models import Place, StockCount, User, VaultAccess, VaultClosing
from custody.roles import Verb


@dataclass(frozen=True, slots=True)
class Stray:
    """What was scanned at a place and does not stand there by the book: its code, the lot that it names, and words."""

    code: str
    lot: str = ""
    note: str = ""

    def as_request(self) -> dict:
        """The entry of ``strays``."""
        return {"code": self.code, "note": self.note.strip()} | ({"lot": self.lot} if self.lot else {})


def open_vault(
    *, place: Place, second: Signature, purpose: str, at: datetime, by: User, request_key: UUID | None = None
) -> VaultAccess:
    """Opens a place that two people open; either may work there until it is closed. ``second`` signs on the spot.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.OPEN_VAULT)
    require(second.user, Verb.OPEN_VAULT)
    said = {"place": place.code, "second": second.user.pk, "purpose": purpose.strip()}
    return VaultAccess.objects.get(pk=_call("custody_open_vault", said, at, by, request_key))


def close_vault(*, access: VaultAccess, at: datetime, by: User, note: str = "") -> VaultClosing:
    """Closes it again; one of the two does, or a manager who says in ``note`` why neither of them can.

    A second time changes nothing. Raises ``NotAllowed``, ``Refusal``.
    """
    require(by, Verb.OPEN_VAULT)
    said = {"access": access.number, "note": note.strip()}
    return VaultClosing.objects.get(pk=_call("custody_close_vault", said, at, by))


def count_stock(
    *,
    place: Place,
    found: Mapping[str, str],
    missing: Mapping[str, str],
    second: Signature,
    at: datetime,
    by: User,
    strays: Sequence[Stray] = (),
    note: str = "",
    request_key: UUID | None = None,
) -> StockCount:
    """Counts everything at a place, by lot number: ``found`` with how (empty: its own label), ``missing`` with why.

    ``strays`` are what lies there and does not stand there by the book. The book stays as it is.
    Raises ``NotAllowed``, and ``Refusal`` for a lot that is neither found nor told of.
    """
    require(by, Verb.COUNT)
    require(second.user, Verb.COUNT)
    said = {
        "place": place.code,
        "second": second.user.pk,
        "note": note.strip(),
        "found": dict(found),
        "missing": {number: words.strip() for number, words in missing.items()},
        "strays": [stray.as_request() for stray in strays],
    }
    return StockCount.objects.get(pk=_call("custody_count_stock", said, at, by, request_key))


def _call(function: str, said: dict, at: datetime, by: User, request_key: UUID | None = None) -> int:
    body = said | {"at": at.isoformat(), "by": by.pk}
    body |= {"request_key": str(request_key)} if request_key else {}
    with _post.refusals(), transaction.atomic(durable=True):
        return _post.call(function, json.dumps(body))
