"""Issued papers and where their bytes are kept."""

from pathlib import Path

from django.conf import settings


def path_of(digest: str) -> Path:
    """Where the bytes with this SHA-256 are kept."""
    return Path(settings.DOCUMENTS_FOLDER) / digest[:2] / f"{digest}.pdf"
