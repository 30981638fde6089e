"""Files beside the book, kept under the SHA-256 of their bytes."""

import os
import tempfile
from pathlib import Path


def keep_file(path: Path, content: bytes) -> None:
    """Writes whole or not at all: a crash must not leave half a file under a good name."""
    if path.exists():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, temporary = tempfile.mkstemp(dir=path.parent)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    os.replace(temporary, path)
