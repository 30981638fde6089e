"""Attaching photographs and papers to a receipt."""

import hashlib
from datetime import datetime

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._files import keep_file
from custody.errors import AttachmentRule
from custody.models import Attachment, Lot, Operation, User
from custody.queries.attachments import MOST, path_of, type_of
from custody.roles import Verb, may
from custody.terms import AttachmentKind, Kind


def attach(
    *,
    receipt: Operation,
    lot: Lot | None,
    kind: AttachmentKind,
    title: str,
    content: bytes,
    at: datetime,
    by: User,
    name: str = "",
) -> Attachment:
    """Keeps a photograph or a paper of a delivery, for the receipt or for one parcel of it.

    What it is is read from its bytes, never decompressed; ``name`` is the file's own, and may not say otherwise. The
    same bytes twice on one receipt are one. Raises ``NotAllowed`` and ``AttachmentRule``.
    """
    require(by, Verb.CLEAR if may(by.roles, Verb.CLEAR) else Verb.RECEIVE)
    if receipt.kind != Kind.RECEIVE or (lot is not None and lot.created_by_id != receipt.pk):
        raise AttachmentRule("A file is attached to a receipt, or to one parcel of it.")
    content_type = type_of(content, name)
    digest = hashlib.sha256(content).hexdigest()
    with transaction.atomic(durable=True):
        _post.alone(f"attachments of {receipt.number}")  # together they must not pass the limit
        standing = Attachment.objects.filter(receipt=receipt)
        known = standing.filter(sha256=digest).first()
        if known:
            return known
        if standing.count() >= MOST:
            raise AttachmentRule(f"Receipt {receipt.number} has {MOST} attachments, and takes no more.")
        keep_file(path_of(digest), content)
        return Attachment.objects.create(
            receipt=receipt,
            lot=lot,
            kind=str(kind),
            title=(title.strip() or name.strip() or kind.label)[:200],
            content_type=content_type,
            sha256=digest,
            size=len(content),
            at=at,
            by=by,
        )
