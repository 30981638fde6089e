"""Issuing the purchase note of metal bought at the counter."""

from datetime import datetime

from custody.actions._allowed import require
from custody.actions._copies import issue_copy
from custody.documents.fill_purchase import purchase_paper
from custody.documents.purchase import render_purchase
from custody.errors import Refusal
from custody.models import Document, Operation, Purchase, User
from custody.roles import Verb
from custody.terms import DocumentKind


def issue_purchase(*, receipt: Operation, at: datetime, by: User) -> Document:
    """Issues the purchase note of a receipt that was bought, for its party; a reprint says which copy it is.

    Raises ``NotAllowed``, and ``Refusal`` for a receipt that was not bought, or was reversed.
    """
    require(by, Verb.RECEIVE)
    if not Purchase.objects.filter(receipt=receipt).exists():
        raise Refusal(f"{receipt.number} was not bought at the counter: there is no purchase note of it.")
    undone = Operation.objects.filter(reverses=receipt).first()
    if undone:
        raise Refusal(f"Receipt {receipt.number} was reversed by {undone.number}: its purchase note is void.")

    def content(copy_no: int, identifier: bytes) -> bytes:
        return render_purchase(purchase_paper(receipt, copy_no=copy_no), identifier=identifier, created=at)

    return issue_copy(DocumentKind.PURCHASE, f"Purchase note {receipt.number}", receipt, content, at=at, by=by)
