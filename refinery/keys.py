"""Secrets that this installation makes for itself and keeps in files only it can read."""

import os
import secrets
from pathlib import Path


def kept_secret(path: Path) -> str:
    """The secret kept at the path, made on first use; two processes that start at once agree on one."""
    if not path.exists():
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        path.parent.chmod(0o700)
        draft = path.with_name(f"{path.name}.{os.getpid()}")
        with os.fdopen(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(64))
        try:
            os.link(draft, path)
        except FileExistsError:
            pass  # another process was first: its secret counts
        finally:
            draft.unlink()
    return path.read_text()
