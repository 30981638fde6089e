"""One operation by itself: balance (I1), canonical bytes (I3), days and months (I8), signatures (I12)."""

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from custody.queries.verify.findings import Findings
from custody.queries.verify.raw import Entry, Head, Line, Made, rows
from custody.terms import COLUMNS, Form, Kind, Side


class Heads:
    """Examines operations one by one, against the closed months and the refinery's local days."""

    def __init__(self, findings: Findings, made_of: Callable[[int | None], Made | None]) -> None:
        self.findings = findings
        self.made_of = made_of
        zone = rows("SELECT time_zone FROM custody_refinery WHERE id = 1")
        self.zone = ZoneInfo(zone[0][0] if zone else "UTC")
        self.closed = dict(rows("SELECT month, closed_at FROM custody_period WHERE closed_at IS NOT NULL"))

    def examine(self, entry: Entry) -> None:
        """Notes what is wrong with one operation."""
        self._balance(entry.head, entry.lines)
        self._bytes(entry.head, entry.lines)
        self._day(entry.head)

    def _balance(self, head: Head, lines: list[Line]) -> None:
        check = self.findings["I1"]
        check.checked += 1
        if len(lines) != head.movement_count or not lines:
            check.breach(head.number, "as many movements as it says", stored=len(lines), said=head.movement_count)
        if [line.line for line in lines] != list(range(1, len(lines) + 1)):
            check.breach(head.number, "movements are numbered without a gap")
        missing = [0] * len(COLUMNS)
        for line in lines:
            sign = 1 if line.side in (Side.IN, Side.ADD) else -1
            missing = [before + sign * now for before, now in zip(missing, line.amounts, strict=True)]
            if head.kind != Kind.REVERSE and line.side in (Side.IN, Side.OUT) and min(line.amounts) < 0:
                check.breach(f"{head.number} line {line.line}", "a lot is given or takes a positive mass")
        if any(missing):
            check.breach(
                head.number,
                "in + added = out + declared losses",
                missing_mg={name: mg for name, mg in zip(COLUMNS, missing, strict=True) if mg},
            )

    def _bytes(self, head: Head, lines: list[Line]) -> None:
        check = self.findings["I3"]
        check.checked += 1
        if hashlib.sha256(head.canonical.encode()).digest() != head.sha256:
            check.breach(head.number, "the SHA-256 of the canonical bytes")
        rebuilt = canonical(head, lines, self.made_of)
        if rebuilt != head.canonical:
            check.breach(head.number, "the canonical bytes are those of the rows", **_first_difference(head, rebuilt))

    def _day(self, head: Head) -> None:
        check = self.findings["I8"]
        check.checked += 1
        local = head.at.astimezone(self.zone).date()
        check.expect(str(head.day), str(local), head.number, "the day is the local day of its time")
        for month in {date(head.day.year, head.day.month, 1), date(local.year, local.month, 1)}:
            closed = self.closed.get(month)
            if closed is not None and head.recorded_at > closed:
                check.breach(
                    head.number, f"recorded into {month:%Y-%m} after its close", recorded=str(head.recorded_at)
                )


def canonical(head: Head, lines: list[Line], made_of: Callable[[int | None], Made | None]) -> str:
    """The canonical bytes (RFC 8785) of an operation, built from its rows: keys sorted, no spaces, UTF-8."""
    document: dict[str, Any] = {
        "about": str(head.about) if head.about else None,
        "acceptance": head.acceptance,
        "at": _moment(head.at),
        "basis": head.basis,
        "by": head.by,
        "countersign_meaning": head.countersign_meaning,
        "countersigned_at": _moment(head.countersigned_at),
        "countersigned_by": head.countersigned_by,
        "delivered_by": head.delivered_by,
        "kind": head.kind,
        "movements": [_line(line, made_of(line.lot)) for line in lines],
        "number": head.number,
        "over_tolerance": head.over_tolerance,
        "party": head.party,
        "place": head.place,
        "reason": head.reason,
        "recorded_at": _moment(head.recorded_at),
        "reverses": head.reverses,
        "run": head.run,
        "source": head.source,
    }
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _line(line: Line, made: Made | None) -> dict[str, Any]:
    document = {
        "amounts": list(line.amounts),
        "custodian": line.custodian,
        "line": line.line,
        "lot": made.number if made else None,
        "place": line.place,
        "side": line.side,
        "what": line.what,
        "words": line.words,
    }
    if line.side == Side.OUT:
        stamp = made.stamp if made and made.form == Form.BAR else None
        what = (made.form, made.declared_origin, made.custody_model) if made else (None,) * 3
        document["made"] = [*what, stamp]
    return document


def _moment(moment: datetime | None) -> str | None:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ") if moment else None


def _first_difference(head: Head, rebuilt: str) -> dict[str, str]:
    pairs = enumerate(zip(head.canonical, rebuilt, strict=False))
    place = next((at for at, (one, other) in pairs if one != other), min(len(head.canonical), len(rebuilt)))
    start = max(place - 40, 0)
    return {"stored": head.canonical[start : place + 40], "recomputed": rebuilt[start : place + 40]}
