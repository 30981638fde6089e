"""Issuing the certificate of a bar."""

import hashlib
import logging
from datetime import datetime

from django.db import transaction

from custody.actions import papers
from custody.actions._allowed import require
from custody.actions._copies import next_copy
from custody.documents.certificate import render_certificate
from custody.documents.fill_certificate import certificate_paper
from custody.errors import Refusal
from custody.models import Bar, Document, Lot, Operation, Party, User
from custody.queries.gate import bars_without_certificate
from custody.roles import Verb
from custody.terms import DocumentKind

logger = logging.getLogger(__name__)


def issue_certificate(*, lot: Lot, at: datetime, by: User, party: Party | None = None) -> Document:
    """Renders the certificate of a bar and keeps it; with ``party`` that party may download it.

    A reprint says which copy it is. Raises ``NotAllowed``, and ``Refusal`` for a lot that is no bar, and for a bar that
    is cancelled, worked up again or not valued.
    """
    require(by, Verb.DISPATCH)
    bar = Bar.objects.select_related("lot__created_by", "bar_type").filter(lot=lot).first()
    if bar is None:
        raise Refusal(f"Lot {lot.number} is no stamped bar: only a bar has a certificate.")
    with transaction.atomic(durable=True):
        copy_no = next_copy(DocumentKind.CERTIFICATE, lot=lot)
        paper = certificate_paper(bar, copy_no=copy_no, at=at, by=by)
        seed = f"{paper.number} {at.isoformat()}".encode() + bytes(lot.created_by.sha256)
        return papers.store(
            kind=DocumentKind.CERTIFICATE,
            title=f"Bar certificate {bar}",
            content=render_certificate(paper, identifier=hashlib.sha256(seed).digest()[:16], created=at),
            at=at,
            by=by,
            party=party,
            lot=lot,
            copy_no=copy_no,
        )


def issue_certificates(*, dispatch: Operation, at: datetime, by: User) -> tuple[list[Document], list[str]]:
    """Issues the certificates still missing of the bars that left with a dispatch, for the party that got them.

    What can't be issued now doesn't stop the others: gives the papers, and the sentences of what failed. Nothing that
    was recorded depends on it. Raises ``NotAllowed``.
    """
    require(by, Verb.DISPATCH)
    issued, failed = [], []
    for bar in bars_without_certificate(dispatch):
        try:
            issued.append(issue_certificate(lot=bar.lot, at=at, by=by, party=dispatch.party))
        except Refusal as refusal:
            failed.append(refusal.sentence)
        except Exception:
            logger.exception("Certificate of bar %s, dispatched by %s", bar, dispatch.number)
            failed.append(f"The certificate of bar {bar} could not be written.")
    return issued, failed
