"""Papers of an operation: numbered copies, each kept as it was issued."""

import hashlib
from collections.abc import Callable
from datetime import datetime

from django.db import connection, transaction

from custody.actions import papers
from custody.models import Document, Operation, User
from custody.terms import DocumentKind


def issue_copy(
    kind: DocumentKind,
    title: str,
    operation: Operation,
    content: Callable[[int, bytes], bytes],
    *,
    at: datetime,
    by: User,
) -> Document:
    """Keeps the next copy of an operation's paper, for its party; ``content`` is told its number and identifier."""
    with transaction.atomic(durable=True):
        copy_no = _next_copy(kind, operation)
        seed = f"{kind} {operation.number} {copy_no}".encode() + bytes(operation.sha256)
        return papers.store(
            kind=kind,
            title=title,
            content=content(copy_no, hashlib.sha256(seed).digest()[:16]),
            at=at,
            by=by,
            party=operation.party,
            operation=operation,
            copy_no=copy_no,
        )


def _next_copy(kind: DocumentKind, operation: Operation) -> int:
    """Waits for whoever prints the same paper at this moment, so that no two copies bear one number."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [f"{kind} {operation.number}"])
    return Document.objects.filter(kind=kind, operation=operation).count() + 1
