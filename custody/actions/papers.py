"""Issuing papers: the bytes are stored by their SHA-256 and stay (I10)."""

import hashlib
from datetime import datetime

from django.db import transaction

from custody.actions._files import keep_file
from custody.models import Document, Lot, Operation, Party, Settlement, User
from custody.queries.papers import path_of
from custody.terms import DocumentKind


def store(
    *,
    kind: DocumentKind,
    title: str,
    content: bytes,
    at: datetime,
    by: User,
    party: Party | None = None,
    operation: Operation | None = None,
    lot: Lot | None = None,
    settlement: Settlement | None = None,
    copy_no: int = 1,
) -> Document:
    """Keeps the bytes of an issued paper under their SHA-256 and records who issued it, for whom."""
    digest = hashlib.sha256(content).hexdigest()
    keep_file(path_of(digest), content)
    with transaction.atomic():
        return Document.objects.create(
            kind=str(kind),
            title=title,
            sha256=digest,
            size=len(content),
            party=party,
            operation=operation,
            lot=lot,
            settlement=settlement,
            copy_no=copy_no,
            issued_by=by,
            issued_at=at,
        )
