"""Photographs and papers of deliveries, and where their bytes are kept."""

import re
from pathlib import Path

import magic
from django.conf import settings

from custody.errors import AttachmentRule
from custody.models import Attachment
from custody.queries.papers import unchanged

#: What may be attached, told by its first bytes: content type, its name in words, its endings.
TYPES: dict[str, tuple[str, tuple[str, ...]]] = {
    "image/jpeg": ("JPEG", (".jpg", ".jpeg", ".jfif")),
    "image/png": ("PNG", (".png",)),
    "image/webp": ("WebP", (".webp",)),
    "image/heic": ("HEIC", (".heic", ".heif")),
    "image/heif": ("HEIF", (".heif", ".heic")),
    "application/pdf": ("PDF", (".pdf",)),
}
#: As many bytes as it takes to tell what a file is.
_HEAD = 4096
_ENDING = re.compile(r"\.[A-Za-z][A-Za-z0-9]{1,4}\Z")
#: Bytes of one attachment, and attachments of one receipt.
LARGEST = 10 * 1024 * 1024
MOST = 30


def type_of(content: bytes, name: str) -> str:
    """The content type of a file that may be attached, by its bytes; its ``name`` must agree.

    Raises ``AttachmentRule``.
    """
    called = f"“{name[:60]}”" if name else "The file"
    if not content:
        raise AttachmentRule(f"{called} is empty. Take the photograph again, or choose another file.")
    if len(content) > LARGEST:
        raise AttachmentRule(f"{called} is larger than {LARGEST // 1024**2} MB. Scan or photograph it smaller.")
    found = magic.from_buffer(content[:_HEAD], mime=True)
    if found not in TYPES:
        raise AttachmentRule(f"{called} is no photograph (JPEG, PNG, WebP, HEIC) and no PDF, whatever its name says.")
    word, endings = TYPES[found]
    ending = _ENDING.search(name)
    if ending and ending[0].lower() not in endings:
        raise AttachmentRule(
            f"{called} ends in {ending[0]}, but its bytes are {word}. Find out why before you keep it."
        )
    return found


def path_of(digest: str) -> Path:
    """Where the bytes with this SHA-256 are kept: a name that says nothing and that no person chose."""
    return Path(settings.ATTACHMENTS_FOLDER) / digest[:2] / digest


def content_of(attachment: Attachment) -> bytes:
    """The bytes of an attachment, checked against their SHA-256.

    Raises ``Refusal`` when the file is missing or is not what was attached: a changed file is never handed out.
    """
    return unchanged(
        path_of(attachment.sha256), attachment.sha256, attachment.title, "was changed since it was attached"
    )
