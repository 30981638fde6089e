"""Issuing the papers of a receipt: the delivery receipt and the labels of its lots."""

from collections.abc import Callable
from datetime import datetime

from custody.actions._allowed import require
from custody.actions._copies import issue_copy
from custody.documents.fill_receipt import label_sheet, receipt_paper
from custody.documents.labels import render_labels
from custody.documents.receipt import render_receipt
from custody.errors import Refusal
from custody.models import Document, Operation, User
from custody.roles import Verb
from custody.terms import DocumentKind, Kind


def issue_receipt(*, receipt: Operation, at: datetime, by: User) -> Document:
    """Issues the delivery receipt as PDF and keeps it; a reprint says which copy it is.

    Raises ``NotAllowed``, and ``Refusal`` for an operation that is no receipt or was reversed.
    """
    require(by, Verb.RECEIVE)

    def content(copy_no: int, identifier: bytes) -> bytes:
        return render_receipt(receipt_paper(receipt, copy_no=copy_no), identifier=identifier, created=at)

    return _issue(DocumentKind.RECEIPT, f"Delivery receipt {receipt.number}", receipt, content, at, by)


def issue_labels(*, receipt: Operation, at: datetime, by: User) -> Document:
    """Issues the labels of a receipt's lots as one PDF, a label a page, and keeps it.

    Raises ``NotAllowed``, and ``Refusal`` for an operation that is no receipt or was reversed.
    """
    require(by, Verb.WEIGH)

    def content(copy_no: int, identifier: bytes) -> bytes:
        return render_labels(label_sheet(receipt, copy_no=copy_no), identifier=identifier, created=at)

    return _issue(DocumentKind.LABELS, f"Lot labels of {receipt.number}", receipt, content, at, by)


def _issue(
    kind: DocumentKind,
    title: str,
    receipt: Operation,
    content: Callable[[int, bytes], bytes],
    at: datetime,
    by: User,
) -> Document:
    _refuse_unless_standing(receipt)
    return issue_copy(kind, title, receipt, content, at=at, by=by)


def _refuse_unless_standing(receipt: Operation) -> None:
    if receipt.kind != Kind.RECEIVE:
        raise Refusal(f"{receipt.number} is no receipt.")
    undone = Operation.objects.filter(reverses=receipt).first()
    if undone:
        raise Refusal(f"Receipt {receipt.number} was reversed by {undone.number}: no paper is issued for it.")
