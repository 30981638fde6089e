"""What a person was shown before recording it: a page that previews says what it showed, recording compares.

So nobody signs figures that changed since they were looked at.
"""

import hashlib


def seal(*shown: object) -> str:
    """A short mark of everything that was shown; other figures, another mark."""
    return hashlib.sha256("\n".join(map(repr, shown)).encode()).hexdigest()[:32]
