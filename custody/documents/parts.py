"""What several papers share: the house at the head, a signature, and the check that figures add up."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class House:
    """The refinery as it stands at the head of a paper. ``zone`` is the IANA name of its local time."""

    name: str
    mark: str
    address: tuple[str, ...]
    zone: str


@dataclass(frozen=True, slots=True)
class Signature:
    """A line to sign: what signing means, and the printed name; ``at`` when it was signed by login.

    Printed name, date and time, and meaning are what 21 CFR 11.50 asks of a signed record.
    """

    meaning: str
    name: str = ""
    at: datetime | None = None


def must_equal(what: str, left: object, right: object) -> None:
    """Refuse a paper whose printed figures contradict each other; raises ``ValueError``."""
    if left != right:
        raise ValueError(f"{what}: {left} is not {right}.")
