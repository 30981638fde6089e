"""Issuing labels of the lots that a step made: a melt, its slag, samples."""

from datetime import datetime

from custody.actions._allowed import require
from custody.actions._copies import issue_copy
from custody.documents.fill_labels import made_sheet
from custody.documents.labels import render_labels
from custody.errors import Refusal
from custody.models import Document, Lot, Operation, User
from custody.roles import Verb
from custody.terms import DocumentKind


def issue_made_labels(*, operation: Operation, at: datetime, by: User) -> Document:
    """Issues the labels of what an operation made and what is still there, a label a page, and keeps them.

    Raises ``NotAllowed``, and ``Refusal`` where nothing of it is left.
    """
    require(by, Verb.WEIGH)
    if not Lot.objects.filter(created_by=operation, gross_mg__gt=0).exists():
        raise Refusal(f"Nothing that {operation.number} made is left: there is no label to print.")

    def content(copy_no: int, identifier: bytes) -> bytes:
        return render_labels(made_sheet(operation, copy_no=copy_no), identifier=identifier, created=at)

    return issue_copy(DocumentKind.LABELS, f"Lot labels of {operation.number}", operation, content, at=at, by=by)
