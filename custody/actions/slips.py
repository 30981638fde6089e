"""Paper slips for a power cut: printed in advance with numbers, entered late by a receipt, or spoiled."""

import hashlib
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post, papers
from custody.actions._allowed import require
from custody.actions._numbers import next_number
from custody.documents.fill_slips import slip_sheet
from custody.documents.slips import render_slips
from custody.errors import ReasonNeeded, Refusal
from custody.models import Document, Slip, SpoiledSlip, User
from custody.roles import Verb
from custody.terms import DocumentKind

#: So many slips are printed at once at most.
MOST = 50


def print_slips(*, how_many: int, at: datetime, by: User, request_key: UUID | None = None) -> Document:
    """Prints blank slips, each with a number of its own, as one PDF; the same form sent twice prints once.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.RECEIVE)
    if not 1 <= how_many <= MOST:
        raise Refusal(f"Print 1 to {MOST} slips at once.").at("how_many")
    with transaction.atomic(durable=True):
        if request_key:
            _post.alone(str(request_key))
            earlier = Slip.objects.filter(request_key=request_key).select_related("document").first()
            if earlier:
                return earlier.document
        numbers = [next_number("SL", "slip", at) for _ in range(how_many)]
        paper = papers.store(
            kind=DocumentKind.SLIPS,
            title=f"Paper slips {numbers[0]} to {numbers[-1]}" if how_many > 1 else f"Paper slip {numbers[0]}",
            content=render_slips(
                slip_sheet(numbers),
                identifier=hashlib.sha256(" ".join(numbers).encode()).digest()[:16],
                created=at,
            ),
            at=at,
            by=by,
        )
        Slip.objects.bulk_create(
            Slip(number=number, printed_at=at, printed_by=by, document=paper, request_key=request_key)
            for number in numbers
        )
    return paper


def spoil_slip(*, slip: Slip, reason: str, at: datetime, by: User) -> SpoiledSlip:
    """A slip that will never be entered, with its reason. Raises ``NotAllowed``, and ``Refusal`` for one not open."""
    require(by, Verb.RECEIVE)
    if not reason.strip():
        raise ReasonNeeded("A spoiled slip says why.")
    with _post.refusals(), transaction.atomic(durable=True):
        return SpoiledSlip.objects.create(slip=slip, reason=reason.strip(), at=at, by=by)
