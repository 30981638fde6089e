"""Check values that others have published: fixtures/published, each with its source beside it."""

import json
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "published"


def cases(name: str, group: str) -> list[dict]:
    """The cases of one group of one file. A group that is not there is an error, never an empty test."""
    found = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))[group]
    assert found["source"]
    assert found["cases"]
    return found["cases"]
