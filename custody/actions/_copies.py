"""Numbered copies of papers, each kept as it was issued."""

import hashlib
from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.db import transaction

from custody.actions import _post, papers
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
        copy_no = next_copy(kind, operation=operation)
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


def next_copy(kind: DocumentKind, **about: Any) -> int:
    """The number of the next paper of this kind about this (columns of ``Document``), inside a transaction.

    Waits for whoever prints the same paper at this moment, so that no two copies bear one number.
    """
    _post.alone(" ".join([kind, *(f"{name} {getattr(what, 'pk', what)}" for name, what in about.items())]))
    return Document.objects.filter(kind=kind, **about).count() + 1
