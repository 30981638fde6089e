"""Issuing the batch sheet of a route order."""

import hashlib
from datetime import datetime

from django.db import transaction

from custody.actions import papers
from custody.actions._allowed import require
from custody.actions._copies import next_copy
from custody.documents.batch import render_batch
from custody.documents.fill_batch import batch_sheet
from custody.models import Document, RouteOrder, User
from custody.queries.planner import sheet_title
from custody.roles import Verb
from custody.terms import DocumentKind


def issue_batch_sheet(*, order: RouteOrder, at: datetime, by: User) -> Document:
    """Renders the sheet of an order and keeps it; a reprint says which copy it is. Raises ``NotAllowed``."""
    require(by, Verb.ORDER_ROUTE)
    title = sheet_title(order)
    with transaction.atomic(durable=True):
        copy_no = next_copy(DocumentKind.BATCH_SHEET, title=title)
        seed = f"{title} {copy_no} {order.at.isoformat()}".encode()
        sheet = batch_sheet(order, copy_no=copy_no, at=at)
        return papers.store(
            kind=DocumentKind.BATCH_SHEET,
            title=title,
            content=render_batch(sheet, identifier=hashlib.sha256(seed).digest()[:16], created=at),
            at=at,
            by=by,
            copy_no=copy_no,
        )
