"""Issued papers and where their bytes are kept."""

import hashlib
from pathlib import Path

from django.conf import settings

from custody.errors import Refusal
from custody.models import Document


def path_of(digest: str) -> Path:
    """Where the bytes with this SHA-256 are kept."""
    return Path(settings.DOCUMENTS_FOLDER) / digest[:2] / f"{digest}.pdf"


def content_of(document: Document) -> bytes:
    """The bytes of an issued paper, checked against the SHA-256 that was recorded when it was issued (I10).

    Raises ``Refusal`` when the file is missing or is not what was issued: a changed paper is never handed out.
    """
    try:
        content = path_of(document.sha256).read_bytes()
    except OSError as error:
        raise Refusal(f"The stored file of “{document.title}” is missing. Restore it from the backup.") from error
    if hashlib.sha256(content).hexdigest() != document.sha256:
        raise Refusal(f"The stored file of “{document.title}” was changed since it was issued. Restore it.")
    return content
