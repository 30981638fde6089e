"""Issuing the sheet of a count."""

import hashlib

from django.db import transaction
from django.utils import timezone

from custody.actions import papers
from custody.actions._allowed import require
from custody.actions._copies import next_copy
from custody.documents.count import render_count
from custody.documents.fill_count import count_sheet
from custody.models import Document, StockCount, User
from custody.queries.vault import sheet_title
from custody.roles import Verb
from custody.terms import DocumentKind


def issue_count_sheet(*, count: StockCount, by: User) -> Document:
    """Renders the sheet of a count and keeps it; a reprint says which copy it is. Raises ``NotAllowed``."""
    require(by, Verb.COUNT)
    title, at = sheet_title(count), timezone.now()
    with transaction.atomic(durable=True):
        copy_no = next_copy(DocumentKind.COUNT, title=title)
        seed = f"{title} {copy_no} {count.at.isoformat()}".encode()
        sheet = count_sheet(count, copy_no=copy_no, at=at)
        return papers.store(
            kind=DocumentKind.COUNT,
            title=title,
            content=render_count(sheet, identifier=hashlib.sha256(seed).digest()[:16], created=at),
            at=at,
            by=by,
            copy_no=copy_no,
        )
