"""Issuing the trace report of a bar or lot."""

import hashlib
from datetime import datetime

from django.db import transaction

from custody.actions import papers
from custody.actions._allowed import require
from custody.actions._copies import next_copy
from custody.documents.fill_trace import trace_paper
from custody.documents.trace import render_trace
from custody.models import Document, Lot, User
from custody.roles import Verb
from custody.terms import DocumentKind


def issue_trace(*, lot: Lot, at: datetime, by: User) -> Document:
    """Renders the trace report of a lot as the book stands and keeps it; each has a number of its own.

    Raises ``NotAllowed``, and ``Refusal`` for a lot that was cancelled.
    """
    require(by, Verb.TRACE)
    with transaction.atomic(durable=True):
        count = next_copy(DocumentKind.TRACE, lot=lot)
        number = f"T-{lot.number}-{count}"
        identifier = hashlib.sha256(f"{number} {at.isoformat()}".encode()).digest()[:16]
        paper = trace_paper(lot, number=number, at=at, by=by)
        return papers.store(
            kind=DocumentKind.TRACE,
            title=f"Trace report {number}",
            content=render_trace(paper, identifier=identifier, created=at),
            at=at,
            by=by,
            lot=lot,
        )
