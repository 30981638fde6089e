"""Issuing the settlement statement of a settlement that is recorded; a reprint says which copy it is."""

import hashlib
from datetime import datetime

from django.db import transaction

from custody.actions import papers
from custody.actions._allowed import require
from custody.actions._copies import next_copy
from custody.documents.fill_settlement import settlement_paper
from custody.documents.settlement import render_settlement
from custody.models import Document, Settlement, User
from custody.roles import Verb
from custody.terms import DocumentKind


def issue_settlement(*, settlement: Settlement, at: datetime, by: User) -> Document:
    """Renders the statement from the figures that were issued and keeps it, for the party to download.

    Raises ``NotAllowed``.
    """
    require(by, Verb.SETTLE)
    with transaction.atomic(durable=True):
        copy_no = next_copy(DocumentKind.SETTLEMENT, settlement=settlement)
        identifier = hashlib.sha256(f"{settlement.number} {copy_no} {settlement.issued_at}".encode()).digest()[:16]
        return papers.store(
            kind=DocumentKind.SETTLEMENT,
            title=f"Settlement statement {settlement.number}",
            content=render_settlement(settlement_paper(settlement), identifier=identifier, created=at),
            at=at,
            by=by,
            party=settlement.party,
            operation=settlement.receipt,
            settlement=settlement,
            copy_no=copy_no,
        )
