"""What an examination of the book found, invariant by invariant."""

from dataclasses import dataclass, field
from typing import Any

#: More rows than these are counted, not listed: a book that is broken everywhere still fits a screen.
MOST_ROWS = 100

PROMISES = {
    "I1": "balance: in + added = out + declared losses, sealed",
    "I2": "no overdraw: books of lots as their movements make them, never below zero, metals within gross",
    "I3": "append-only: canonical bytes, guards and rights as they were laid",
    "I4": "unbroken custody: one custodian and one place at every instant, weighed again as it passes",
    "I5": "conserved origin: every milligram by origin, held + dispatched + lost = received",
    "I6": "unique bars",
    "I7": "no blind mixing",
    "I8": "closed is closed",
    "I9": "settled once; metal accounts",
    "I10": "documents stay",
    "I11": "evident tampering: not in this release, begins with the log; canonical bytes stored from operation 1",
    "I12": "separated duties",
}


@dataclass(slots=True)
class Check:
    """One invariant: what was looked at, and the rows that break it."""

    invariant: str
    rows: list[dict[str, Any]] = field(default_factory=list)
    checked: int = 0
    unlisted: int = 0

    @property
    def promise(self) -> str:
        """The invariant in words."""
        return PROMISES[self.invariant]

    @property
    def holds(self) -> bool:
        """Whether nothing was found that breaks it."""
        return not self.rows

    def breach(self, where: str, what: str, **figures: Any) -> None:
        """Notes one offending row: where it is, what is wrong, and the figures."""
        if len(self.rows) < MOST_ROWS:
            self.rows.append({"where": where, "what": what, **figures})
        else:
            self.unlisted += 1

    def expect(self, stored: Any, recomputed: Any, where: str, what: str) -> None:
        """Notes a breach where what is stored is not what was recomputed."""
        if stored != recomputed:
            self.breach(where, what, stored=stored, recomputed=recomputed)

    def as_document(self) -> dict[str, Any]:
        """The contract's answer for one invariant."""
        document = {
            "invariant": self.invariant,
            "promise": self.promise,
            "holds": self.holds,
            "rows": self.rows,
            "checked": self.checked,
        }
        return document | ({"unlisted": self.unlisted} if self.unlisted else {})


class Findings:
    """The checks by invariant, in their order."""

    def __init__(self) -> None:
        self.checks = {name: Check(name) for name in PROMISES}

    def __getitem__(self, invariant: str) -> Check:
        return self.checks[invariant]

    @property
    def ok(self) -> bool:
        """Whether every invariant holds."""
        return all(check.holds for check in self.checks.values())

    def as_document(self) -> dict[str, Any]:
        """The contract's answer: one JSON document."""
        return {"ok": self.ok, "checks": [check.as_document() for check in self.checks.values()]}
