"""A plant that works at random, and its own books: what every lot holds, how it was made, how far rounding may reach.

Every step is a record of the history file. A step that the book refuses leaves the plant as it was; the refusals are
counted by name, so that a test can tell a busy history from an empty one.
"""

import json
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import networkx

from custody.actions.history import LineRefused, import_history
from tests.simulation.exact import Graph

METALS = ("Au", "Ag", "Pt", "Pd", "Cu")
HEADER = '{"record":"header","format":"custody-history","version":1}'
START = datetime(2024, 1, 2, 9, tzinfo=UTC)


def grams(mg):
    sign = "-" if mg < 0 else ""
    return f"{sign}{abs(mg) // 1000}.{abs(mg) % 1000:03d}"


def fine(metals):
    return {metal: grams(mg) for metal, mg in zip(METALS, metals, strict=True) if mg}


def largest_remainder(total, weights):
    """Written again here: the plant keeps its own books."""
    whole = sum(weights)
    exact = [divmod(total * weight, whole) for weight in weights]
    shares = [share for share, _ in exact]
    for place in sorted(range(len(weights)), key=lambda i: (-exact[i][1], i))[: total - sum(shares)]:
        shares[place] += 1
    return shares


@dataclass
class Lot:
    number: str
    form: str
    book: list[int]  # gross and five metals
    valued: bool
    node: int
    reach: float  # how many milligrams rounding may have moved any one figure
    receipt: str | None
    parent: str | None = None  # of a sample
    uses: list[str] = field(default_factory=list)  # operations that took from it, valuations left out


@dataclass
class Loss:
    operation: str
    cause: str
    amounts: list[int]
    node: int
    reach: float


@dataclass
class Done:
    """A recorded operation, as far as undoing it needs."""

    number: str
    kind: str
    taken: list[tuple[Lot, list[int], int, float, bool]] = field(default_factory=list)
    made: list[Lot] = field(default_factory=list)
    losses: list[Loss] = field(default_factory=list)
    edges: list[tuple[str, str]] = field(default_factory=list)
    received: list[tuple[str, list[int]]] = field(default_factory=list)
    recovered: str = ""


class Plant:
    """See the module's first words. ``step`` does one random thing; names of steps are in ``STEPS``."""

    def __init__(self):
        self.lots: dict[str, Lot] = {}
        self.graph = Graph()
        self.lot_graph = networkx.MultiDiGraph()
        self.received: dict[str, list[int]] = {}
        self.losses: list[Loss] = []
        self.done: dict[str, Done] = {}
        self.refused: Counter = Counter()
        self.recorded: Counter = Counter()
        self.counts: Counter = Counter()
        self.clock = START
        self.drawn: dict[str, str] = {}  # lot: the draw that made it
        self.lines: list[str] = []
        self._write({"record": "party", "code": "P-01", "name": "Tern Valley Placer Cooperative", "country": "CA"})

    # Recording

    def _write(self, record):
        import_history(lines=[HEADER, json.dumps(record)])
        self.lines.append(json.dumps(record))

    def _number(self, prefix):
        self.counts[prefix] += 1
        return f"{prefix}-{self.counts[prefix]:04d}"

    def record(self, kind, **body):
        """Posts one operation; gives its number, or None where the book refuses it."""
        number = self._number("OP")
        self.clock += timedelta(minutes=self.counts["OP"] % 3)
        record = {"record": "operation", "number": number, "kind": kind, "at": self.clock.isoformat()} | body
        try:
            self._write(record)
        except LineRefused as refusal:
            self.refused[type(refusal.__cause__).__name__] += 1
            self.last_refusal = refusal.sentence
            return None
        self.recorded[kind] += 1
        return number

    # Books

    def stock(self, *, valued=True, form=None):
        return [
            lot
            for lot in self.lots.values()
            if lot.book[0] and lot.valued == valued and (form is None or lot.form == form) and lot.form != "in process"
        ]

    def take(self, random, lot, *, whole=None):
        """The entry of an input, and what it takes by the rule of a withdrawal."""
        if whole is None:
            whole = random.random() < 0.6 or lot.book[0] < 10
        if whole:
            return {"lot": lot.number}, list(lot.book)
        gross = random.randint(1, lot.book[0])
        if gross == lot.book[0]:
            return {"lot": lot.number, "gross_g": grams(gross)}, list(lot.book)
        shares = largest_remainder(gross, [*lot.book[1:], lot.book[0] - sum(lot.book[1:])])
        return {"lot": lot.number, "gross_g": grams(gross)}, [gross, *shares[:5]]

    def _apply(self, done, ins, outs, losses, node, reach):
        """Books a recorded operation: ins are (lot, amounts), outs new lots with their amounts, losses as posted."""
        for lot, amounts in ins:
            partial = amounts != lot.book
            share = amounts[0] / lot.book[0] if lot.book[0] else 1
            taken_reach = lot.reach * share + partial
            done.taken.append((lot, amounts, lot.node, taken_reach, lot.valued))
            lot.book = [a - b for a, b in zip(lot.book, amounts, strict=True)]
            lot.reach = lot.reach + partial
            lot.uses.append(done.number)
        for lot in outs:
            self.lots[lot.number] = lot
            lot.node, lot.reach = node, reach
            done.made.append(lot)
            for parent, _ in ins:
                done.edges.append((parent.number, lot.number))
        for parent, child in done.edges:
            self.lot_graph.add_edge(parent, child, key=done.number)
        for cause, amounts in losses:
            loss = Loss(done.number, cause, amounts, node, reach)
            done.losses.append(loss)
            self.losses.append(loss)
        self.done[done.number] = done

    def _pool(self, ins, gains=(), recovered=()):
        """The composition of what goes in together, and how far its figures may be off."""
        parents = [(lot.node, amounts) for lot, amounts in ins] + [(node, amounts) for node, amounts, _ in recovered]
        reach = sum(
            lot.reach * (amounts[0] / lot.book[0] if lot.book[0] else 1) + (amounts != lot.book) for lot, amounts in ins
        )
        reach += sum(off for _, _, off in recovered)
        return self.graph.node(parents, gains), reach + 1

    def _receipt_of(self, lots):
        receipts = {lot.receipt for lot in lots}
        return receipts.pop() if len(receipts) == 1 else None

    def loss(self, done, cause, amounts, node, reach):
        """A loss that an operation declared besides those that it was asked to."""
        made = Loss(done.number, cause, amounts, node, reach)
        done.losses.append(made)
        return made

    # Questions

    def content(self):
        """What the vessel holds now."""
        return next((lot for lot in self.lots.values() if lot.form == "in process" and lot.book[0]), None)

    def drawn_from(self, lot):
        """The vessel's content from which a lot was drawn, as long as both are unused since."""
        draw = self.done.get(self.drawn.get(lot.number))
        content = draw.taken[0][0] if draw else None
        unused = content and content.book[0] and not lot.uses and content.uses[-1] == draw.number
        return content if unused else None

    def samples_of(self, lot):
        """Samples drawn from a lot, and from its samples, by standing operations."""
        found = []
        for made in [lot, *self.lots.values()]:
            if made.parent in {lot.number, *(one.number for one in found)} and self.lot_graph.in_degree(made.number):
                found.append(made)
        return found

    def lost_since(self, cause):
        """Standing losses by a cause since its last standing recovery."""
        recoveries = [number for number, done in self.done.items() if done.recovered == cause]
        last = max(recoveries, default="")
        return [loss for loss in self.losses if loss.cause == cause and loss.operation > last]

    def consumed_of(self, lot):
        """Gross of samples of a lot that were consumed before it was valued."""
        numbers = {lot.number, *(one.number for one in self.samples_of(lot))}
        return sum(
            loss.amounts[0]
            for loss in self.losses
            if loss.cause == "sample consumed" and self.done[loss.operation].kind == "sample"
            for taken, _, _, _, valued in self.done[loss.operation].taken
            if taken.number in numbers and not valued
        )

    # Undoing

    def undo(self, done, number):
        """Books a reversal: what was made is gone, what was taken is back."""
        for lot in done.made:
            lot.book = [0] * 6
        for lot, amounts, node, reach, valued in done.taken:
            if lot.book[0]:
                node = self.graph.node([(node, amounts), (lot.node, lot.book)])
                reach += lot.reach
            lot.book = [a + b for a, b in zip(lot.book, amounts, strict=True)]
            lot.node, lot.reach, lot.valued = node, reach, valued
            if done.number in lot.uses:
                lot.uses.remove(done.number)
        for parent, child in done.edges:
            self.lot_graph.remove_edge(parent, child, key=done.number)
        self.losses = [loss for loss in self.losses if loss.operation != done.number]
        self.done[number] = Done(number, "reverse")
