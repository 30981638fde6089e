"""Compositions of every lot of a book, from its raw lines alone and solved by scipy: none of the house's rules is used.

Operations are followed in their order: what goes in together is one composition, a gain is an origin called
``difference``, what is recovered is made of what was lost by its cause since the last recovery, and a reversal gives
back what was taken as it was.
"""

from collections import Counter, defaultdict
from dataclasses import dataclass, field

from custody.models import Lot, Operation
from custody.queries import trace
from custody.terms import METALS
from tests.simulation.exact import Graph

DIFFERENCE = "measurement difference"


@dataclass
class Book:
    """Nodes and contents by lot; what every operation took and lost, for its reversal and for recoveries."""

    graph: Graph = field(default_factory=Graph)
    nodes: dict[str, int] = field(default_factory=dict)
    holds: dict[str, list[int]] = field(default_factory=lambda: defaultdict(lambda: [0] * 6))
    taken: dict[int, list[tuple[str, int, list[int]]]] = field(default_factory=dict)
    lost: list[tuple[int, str, int, list[int]]] = field(default_factory=list)
    recovered: list[tuple[int, str]] = field(default_factory=list)
    touched: Counter = field(default_factory=Counter)

    def follow(self, operation: Operation) -> None:
        """Books one operation."""
        lines = list(operation.movements.select_related("lot").order_by("line"))
        for line in lines:
            self.touched[line.lot.number if line.lot_id else ""] += 1
        if operation.reverses_id:
            self._undo(operation.reverses_id, lines)
            return
        ins = [(line.lot.number, list(line.columns_mg)) for line in lines if line.side == "in" and line.lot_id]
        outs = [(line.lot.number, list(line.columns_mg)) for line in lines if line.side == "out" and line.lot_id]
        losses = [(line.what, list(line.columns_mg)) for line in lines if line.side == "loss"]
        self.taken[operation.pk] = [(lot, self.nodes[lot], amounts) for lot, amounts in ins]
        for lot, amounts in ins:
            self.holds[lot] = [a - b for a, b in zip(self.holds[lot], amounts, strict=True)]
        if operation.kind == "receive":
            made = {lot: self.graph.node(sources=[(lot, amounts)]) for lot, amounts in outs}
        elif any(line.side == "add" and line.what == "valuation" for line in lines):
            # Of one parcel alone, for every delivery here is one parcel: whatever is found in it is that parcel's.
            made = {lot: self.graph.node(sources=[(self._parcel(lot), amounts)]) for lot, amounts in outs}
        else:
            pool = self._pool(ins, losses)
            made = {lot: pool for lot, _ in outs}
            self.lost += [(operation.pk, what, pool, [max(mg, 0) for mg in row]) for what, row in losses]
        self.recovered += [(operation.pk, what) for what, row in losses if what != DIFFERENCE and min(row[1:]) < 0]
        for lot, amounts in outs:
            self.nodes[lot], self.holds[lot] = made[lot], amounts

    def _parcel(self, lot: str) -> str:
        (parcel,) = Lot.objects.get(number=lot).receipt.created_lots.values_list("number", flat=True)
        return parcel

    def _pool(self, ins, losses) -> int:
        gains = [(what, [max(-mg, 0) for mg in row]) for what, row in losses if what == DIFFERENCE and min(row[1:]) < 0]
        parents = [(self.nodes[lot], amounts) for lot, amounts in ins]
        for what, row in losses:
            if what != DIFFERENCE and min(row[1:]) < 0:
                last = max((pk for pk, cause in self.recovered if cause == what), default=0)
                since = [(node, amounts) for pk, cause, node, amounts in self.lost if cause == what and pk > last]
                parents.append((self.graph.node(since), [max(-mg, 0) for mg in row]))
        return self.graph.node(parents, [("difference", [0, *row[1:]]) for _, row in gains])

    def _undo(self, undone: int, lines) -> None:
        for line in lines:
            if line.side == "out" and line.lot_id:
                self.holds[line.lot.number] = [0] * 6
        for lot, node, amounts in self.taken[undone]:
            if any(self.holds[lot]):
                node = self.graph.node([(node, amounts), (self.nodes[lot], self.holds[lot])])
            self.nodes[lot] = node
            self.holds[lot] = [a + b for a, b in zip(self.holds[lot], amounts, strict=True)]
        self.lost = [one for one in self.lost if one[0] != undone]
        self.recovered = [one for one in self.recovered if one[0] != undone]


def assert_origins_agree() -> None:
    """What every lot is made of, by the book and by the solve: a milligram apart for each line on the way."""
    book = Book()
    for operation in Operation.objects.order_by("id"):
        book.follow(operation)
    shares = book.graph.solve()
    for lot in Lot.objects.filter(gross_mg__gt=0, valued=True):
        assert list(lot.columns_mg) == book.holds[lot.number], lot.number
        told = Counter()
        for share in trace.origins_of(lot):
            told[share.metal, share.origin] += share.mg
        way = sum(book.touched[number] for number in (lot.number, *trace.ancestors_of(lot))) + book.touched[""]
        for column, metal in enumerate(METALS, start=1):
            for origin, place in book.graph.origins.items():
                exact = shares[column][book.nodes[lot.number]][place] * lot.columns_mg[column]
                assert abs(told[metal, origin] - exact) <= way, (lot.number, metal, origin, told[metal, origin], exact)
