"""Issuing the certificate of an accepted assay."""

import hashlib
from datetime import datetime

from django.db import transaction

from custody.actions import papers
from custody.actions._allowed import require
from custody.actions._copies import next_copy
from custody.documents.assay import render_assay
from custody.documents.fill_assay import assay_paper
from custody.errors import Refusal
from custody.models import Acceptance, Determination, Document, User
from custody.roles import Verb
from custody.terms import DocumentKind


def issue_assay(*, determination: Determination, at: datetime, by: User) -> Document:
    """Renders the certificate of an accepted determination and keeps it; a reprint says which copy it is.

    Raises ``NotAllowed``, and ``Refusal`` for a determination that nobody accepted.
    """
    require(by, Verb.DETERMINE)
    if not Acceptance.objects.filter(determination=determination).exists():
        refusal = Refusal(f"Determination {determination.number} is not accepted yet: a certificate says what counts.")
        raise refusal.at("determination")
    title = f"Assay certificate {determination.number}"
    with transaction.atomic(durable=True):
        copy_no = next_copy(DocumentKind.ASSAY, title=title)
        seed = f"{title} {copy_no} {determination.acceptance.at.isoformat()}".encode()
        paper = assay_paper(determination, copy_no=copy_no, at=at)
        return papers.store(
            kind=DocumentKind.ASSAY,
            title=title,
            content=render_assay(paper, identifier=hashlib.sha256(seed).digest()[:16], created=at),
            at=at,
            by=by,
            party=determination.lot.receipt.party if determination.lot.receipt else None,
            lot=determination.lot,
            copy_no=copy_no,
        )
