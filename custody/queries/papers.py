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
    return unchanged(path_of(document.sha256), document.sha256, document.title, "was changed since it was issued")


def unchanged(path: Path, sha256: str, title: str, changed: str) -> bytes:
    """The bytes of a stored file; where they are not those of its SHA-256, ``changed`` says so. Raises ``Refusal``."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise Refusal(f"The stored file of “{title}” is missing. Restore it from the backup.") from error
    if hashlib.sha256(content).hexdigest() != sha256:
        raise Refusal(f"The stored file of “{title}” {changed}. Restore it.")
    return content
