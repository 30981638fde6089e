"""The book replayed line by line: amounts (I2), custody (I4), mixing (I7), and with them the origins (I5)."""

from typing import NamedTuple

from custody.calc.apportion import withdraw
from custody.calc.refusals import Refused
from custody.queries.verify import amendments, mixing
from custody.queries.verify.findings import Findings
from custody.queries.verify.lots import NONE_CLEARED, NONE_PASSED, NOTHING, Lot, one_of
from custody.queries.verify.origins import Flow, Provenance
from custody.queries.verify.raw import Entry, Line, Made
from custody.queries.verify.shares import added, as_rows, same, told
from custody.terms import Clearance, Kind, Side, Source

#: These give a lot a new content under its own number.
CONTINUING = {Kind.VALUE, Kind.DIFFERENCE}
#: Who works a lot holds it. These need no hands on it.
ON_PAPER = CONTINUING | {Kind.RECEIVE, Kind.REVERSE}
#: How parcels may begin. A program's are released if its person might release then, which is not kept.
PARCELS_STAND = {
    Source.LIVE: {Clearance.AWAITING},
    Source.HISTORY: {Clearance.RELEASED},
    Source.API: {Clearance.AWAITING, Clearance.RELEASED},
}


class Saved(NamedTuple):
    """What must be known of an operation when a later one reverses it."""

    entry: Entry
    flow: Flow


class Replay:
    """The state of every lot, as the operations so far have made it."""

    def __init__(
        self,
        findings: Findings,
        reversed_ids: set[int],
        recovered_causes: set[str],
        settled: set[int],
        amended: amendments.Amended | None = None,
    ) -> None:
        self.findings = findings
        self.lots: dict[int, Lot] = {}
        self.provenance = Provenance(findings["I5"], recovered_causes)
        self.reversed_ids = reversed_ids
        self.settled = settled
        self.amended = amended or {}
        self.saved: dict[int, Saved] = {}

    def made_of(self, lot: int | None) -> Made | None:
        """What a lot that the replay has met is."""
        return self.lots[lot].made if lot in self.lots else None

    def record(self, entry: Entry) -> None:
        """Follows one operation."""
        for line in entry.lines if self.amended else ():
            if line.lot in self.lots:
                amendments.catch_up(self.lots[line.lot], self.amended, line.id)
        if entry.head.kind == Kind.REVERSE:
            self._reverse(entry)
            return
        ins = [self.lots[line.lot] for line in entry.lines if line.side == Side.IN and line.lot in self.lots]
        mixing.check(entry, ins, self.findings["I7"])
        flow = self.provenance.flow_of(entry, self.lots)
        self.provenance.compare(entry, flow, self.lots)
        self.provenance.count(entry, flow)
        if entry.id in self.reversed_ids:
            self.saved[entry.id] = Saved(entry, flow)
        mixture = mixing.mixture_of(ins, entry.head.at, self.settled) if ins else None
        self._check_marks(entry, ins)
        for line in entry.lines:
            if line.lot is None:
                continue
            if line.side == Side.IN:
                self._take(entry, line, flow)
            elif line.lot in self.lots:
                self._continue(entry, line, flow)
            else:
                self._make(entry, line, flow, mixture)
        self._check_edges(entry)

    # Lines

    def _check_marks(self, entry: Entry, ins: list[Lot]) -> None:
        """What a line says of itself: only in lines are whole, only lots are unvalued, additions share nothing."""
        makes = entry.head.kind == Kind.VALUE or all(lot.valued for lot in ins)
        for line in entry.lines:
            marks, expected = (line.valued, line.whole, line.spread), (True, False, 0)
            if line.lot is not None and line.side == Side.IN:
                continue
            if line.lot is not None and line.side == Side.OUT:
                expected = (line.valued if entry.head.kind == Kind.RECEIVE else makes, False, line.spread)
            elif line.side in (Side.OUT, Side.LOSS):
                expected = (True, False, line.spread)
            self.findings["I2"].expect(
                marks, expected, f"{entry.head.number} line {line.line}", "valued, whole, spread"
            )

    def _take(self, entry: Entry, line: Line, flow: Flow) -> None:
        where = f"{entry.head.number} line {line.line}"
        lot = self.lots.get(line.lot)
        if lot is None:
            self.findings["I2"].breach(where, "takes from a lot that was not made before")
            return
        self._meet(entry, line, lot)
        check = self.findings["I2"]
        check.checked += 1
        check.expect(line.whole, line.amounts == lot.amounts, where, "whole: the line empties its lot")
        check.expect(line.valued, lot.valued, where, "whether the lot was valued")
        check.expect(line.content_before, lot.content_movement, where, "the content that the line found")
        if entry.head.kind != Kind.DRAW and not _follows(lot, line):
            check.breach(where, "the metals of a withdrawal follow its gross", line=line.amounts, book=lot.amounts)
        if entry.head.kind not in ON_PAPER and lot.custodian != entry.head.by:
            self.findings["I4"].breach(where, "who works a lot holds it", by=entry.head.by, custodian=lot.custodian)
        self._set(entry, line, lot, tuple(a - b for a, b in zip(lot.amounts, line.amounts, strict=True)))
        if line.whole:
            lot.content = NOTHING
        else:
            lot.content_movement = line.id
            lot.content = flow.rest.get(line.line, NOTHING)

    def _continue(self, entry: Entry, line: Line, flow: Flow) -> None:
        lot = self.lots[line.lot]
        if entry.head.kind not in CONTINUING or any(lot.amounts):
            self.findings["I2"].breach(f"{entry.head.number} line {line.line}", f"lot {lot.number} is made twice")
        self._meet(entry, line, lot)
        self._set(entry, line, lot, line.amounts)
        lot.valued = line.valued
        lot.content_movement = line.id
        lot.sole, lot.content = flow.sole, flow.given.get(line.line, {}) if flow.sole is None else {}

    def _make(self, entry: Entry, line: Line, flow: Flow, mixture: mixing.Mixture | None) -> None:
        where = f"{entry.head.number} line {line.line}"
        made = entry.made.get(line.lot)
        if made is None:
            self.findings["I2"].breach(where, "the lot that this line makes is not there", lot=line.lot)
            made = Made(line.lot, "", "", entry.id, None, "", None, False, "", None, None, None)
        sole = line.origin if entry.head.kind == Kind.RECEIVE else flow.sole
        clearance = mixture.clearance if mixture else {Clearance.RELEASED, Clearance.AWAITING}
        if entry.head.kind == Kind.RECEIVE:
            clearance = PARCELS_STAND[entry.head.source]
        lot = Lot(
            made, (0,) * 6, line.valued, line.custodian, line.place, entry.head.at, line.id, line.id, sole,
            flow.given.get(line.line, NOTHING) if sole is None else NOTHING, one_of(clearance),
            entry.passed.get(line.lot, NONE_PASSED), entry.cleared.get(line.lot, NONE_CLEARED),
        )  # fmt: skip
        self.lots[line.lot] = lot
        self._set(entry, line, lot, line.amounts)
        self.findings["I4"].checked += 1
        if line.custodian is None or line.place is None:
            self.findings["I4"].breach(where, f"lot {lot.number} has a custodian and a place")
        mixing.check_made(entry, line, made, mixture, self.findings["I7"])

    def _set(self, entry: Entry, line: Line, lot: Lot, amounts: tuple[int, ...]) -> None:
        """The lot's book after this line; no step of it may leave the lot below zero or metals over gross."""
        where = f"{entry.head.number} line {line.line}"
        if min(amounts) < 0:
            self.findings["I2"].breach(where, f"lot {lot.number} goes below zero", book=amounts)
        if sum(amounts[1:]) > amounts[0]:
            self.findings["I2"].breach(where, f"metals of lot {lot.number} exceed its gross", book=amounts)
        if entry.head.at < lot.last_at:
            self.findings["I4"].breach(
                where, f"before the last event of lot {lot.number}", at=str(entry.head.at), last_at=str(lot.last_at)
            )
        lot.amounts = amounts
        lot.last_at = max(lot.last_at, entry.head.at)
        lot.last_movement = line.id

    # Custody

    def _meet(self, entry: Entry, line: Line, lot: Lot) -> None:
        """Follows the handovers before this line, then the line must name who holds the lot, and where."""
        while lot.passed and lot.passed[0].at <= entry.head.at:
            if lot.passed[0].at == entry.head.at and self._line_comes_first(entry, line, lot):
                break
            self._pass_on(lot)
        self.findings["I4"].checked += 1
        self.findings["I4"].expect(
            (line.custodian, line.place),
            (lot.custodian, lot.place),
            f"{entry.head.number} line {line.line}",
            f"custodian and place of lot {lot.number}",
        )

    @staticmethod
    def _line_comes_first(entry: Entry, line: Line, lot: Lot) -> bool:
        """Of a line and a handover at one instant: the book that the handover names tells which came first."""
        if (line.custodian, line.place) != (lot.custodian, lot.place):
            return False
        return entry.head.kind == Kind.VALUE or lot.passed[0].book_mg != lot.amounts[0] or not line.amounts[0]

    def _pass_on(self, lot: Lot) -> None:
        passed = lot.passed.popleft()
        check = self.findings["I4"]
        check.checked += 1
        where = f"handover {passed.id} of lot {lot.number}"
        check.expect(
            (passed.from_person, passed.from_place), (lot.custodian, lot.place), where, "given by who holds the lot"
        )
        check.expect(passed.book_mg, lot.amounts[0], where, "at the book's mass")
        if passed.at < lot.last_at:
            check.breach(where, "before the last event of the lot", at=str(passed.at), last_at=str(lot.last_at))
        lot.custodian, lot.place = passed.to_person, passed.to_place
        lot.last_at = max(lot.last_at, passed.at)

    # The lot graph

    def _check_edges(self, entry: Entry) -> None:
        expected = set()
        if entry.head.kind not in CONTINUING | {Kind.RECEIVE, Kind.REVERSE}:
            ins = [line.lot for line in entry.lines if line.side == Side.IN and line.lot is not None]
            outs = [line.lot for line in entry.lines if line.side == Side.OUT and line.lot is not None]
            expected = {(parent, child) for parent in ins for child in outs}
        if entry.edges != expected:
            self.findings["I5"].breach(
                entry.head.number,
                "edges of the lot graph",
                missing=self._named(expected - entry.edges),
                unfounded=self._named(entry.edges - expected),
            )

    def _named(self, edges: set[tuple[int, int]]) -> list[str]:
        numbers = {lot: self.lots[lot].number for edge in edges for lot in edge if lot in self.lots}
        return [f"{numbers.get(parent)} → {numbers.get(child)}" for parent, child in sorted(edges)[:20]]

    # Reversals

    def _reverse(self, entry: Entry) -> None:
        where = entry.head.number
        saved = self.saved.pop(entry.head.reverses, None)
        if saved is None:
            self.findings["I3"].breach(where, "reverses no operation, or one reversed already")
            return
        undone = sorted(saved.entry.lines, key=lambda line: (line.side == Side.IN, line.line))
        mirrored = [(m.side, m.lot, m.what, m.words, tuple(-a for a in m.amounts), m.valued, False) for m in undone]
        recorded = [(m.side, m.lot, m.what, m.words, m.amounts, m.valued, m.whole) for m in entry.lines]
        for line in entry.lines:
            if line.spread != (3 if _gives_back(line) and line.origin is None else 0):
                self.findings["I5"].breach(f"{where} line {line.line}", "of which vector the line is a slice")
        if mirrored != recorded:
            self.findings["I1"].breach(where, f"the mirror of {saved.entry.head.number}", stored=recorded[:20])
        self.findings["I5"].expect(
            {origin: [-mg for mg in amounts] for origin, amounts in saved.flow.received.items() if any(amounts)},
            {origin: amounts for origin, amounts in entry.receipts.items() if any(amounts)},
            where,
            "milligrams received by origin",
        )
        if entry.origins:
            self.findings["I5"].breach(where, "a reversal brings no origin", stored=entry.origins)
        self.provenance.compare_vectors(entry, pooled=False)
        if entry.head.run != saved.entry.head.run or entry.head.party != saved.entry.head.party:
            self.findings["I1"].breach(where, f"of the run and the party of {saved.entry.head.number}")
        self.provenance.count(saved.entry, saved.flow, -1)
        for line, of in zip(entry.lines, undone, strict=False):
            if line.lot in self.lots and _gives_back(line):
                self._give_back(entry, line, saved.flow.taken.get(of.line, {}), of)
            elif line.lot in self.lots:
                self._undo_output(entry, line)
        self._check_edges(entry)

    def _undo_output(self, entry: Entry, line: Line) -> None:
        lot = self.lots[line.lot]
        self._meet(entry, line, lot)
        if tuple(-a for a in line.amounts) != lot.amounts:
            self.findings["I2"].breach(
                entry.head.number, f"lot {lot.number} is as the operation left it", book=lot.amounts
            )
        self._set(entry, line, lot, tuple(a + b for a, b in zip(lot.amounts, line.amounts, strict=True)))

    def _give_back(self, entry: Entry, line: Line, taken: dict, undone: Line) -> None:
        lot = self.lots[line.lot]
        self._meet(entry, line, lot)
        check = self.findings["I5"]
        check.checked += 1
        where = f"{entry.head.number} line {line.line}"
        held = lot.held_by_origin() if lot.amounts[0] else {}
        alone = undone.origin if not lot.amounts[0] or lot.sole == undone.origin else None
        content = {} if alone is not None else added([taken, held])
        check.expect(line.origin, alone, where, "the one origin of a line")
        if alone is None:
            stored = told(line, entry)
            if not same(stored, content):
                check.breach(where, "milligrams by origin", stored=as_rows(stored), recomputed=as_rows(content))
        self._set(entry, line, lot, tuple(a - b for a, b in zip(lot.amounts, line.amounts, strict=True)))
        lot.valued, lot.sole, lot.content = line.valued, alone, content
        lot.content_movement = line.id

    def finish(self) -> None:
        """After the last operation: handovers since, and what the origins sum to."""
        for lot in self.lots.values():
            while lot.passed:
                self._pass_on(lot)
        self.provenance.sum_up(self.lots)


def _gives_back(line: Line) -> bool:
    return line.side == Side.IN and line.lot is not None


def _follows(lot: Lot, line: Line) -> bool:
    if line.amounts == lot.amounts or min(lot.amounts) < 0:
        return True
    try:
        return tuple(line.amounts[1:]) == withdraw(lot.amounts[0], lot.amounts[1:], line.amounts[0])
    except Refused:
        return False
