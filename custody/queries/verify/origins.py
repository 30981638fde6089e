"""I5, conserved origin: every milligram's origin replayed from the movements, by the rule of calc/provenance.py."""

from collections import defaultdict
from dataclasses import dataclass, field

from custody.calc.apportion import largest_remainder
from custody.calc.refusals import Refused
from custody.queries.verify.findings import Check
from custody.queries.verify.lots import Content, Lot, sole_content
from custody.queries.verify.raw import Entry, Line, Vector
from custody.queries.verify.shares import Unreadable, added, as_rows, packed, same, spread_out, told
from custody.terms import COLUMNS, Cause, Kind, OriginKind, Side

METAL_COLUMNS = range(1, 6)


@dataclass(slots=True)
class Flow:
    """What one operation did with origins: by line, what in lines took, what stayed, what other lines were given."""

    taken: dict[int, Content] = field(default_factory=dict)
    rest: dict[int, Content] = field(default_factory=dict)
    given: dict[int, Content] = field(default_factory=dict)
    received: dict[int, list[int]] = field(default_factory=dict)
    sole: int | None = None
    pooled: bool = False


@dataclass(slots=True)
class Fate:
    """What became of one origin's metals, milligrams by column."""

    received: list[int] = field(default_factory=lambda: [0] * 6)
    lost: list[int] = field(default_factory=lambda: [0] * 6)
    dispatched: list[int] = field(default_factory=lambda: [0] * 6)
    held: list[int] = field(default_factory=lambda: [0] * 6)


class Provenance:
    """Origins of the whole book, operation after operation."""

    def __init__(self, check: Check, recovered_causes: set[str]) -> None:
        self.check = check
        self.fates: dict[int, Fate] = defaultdict(Fate)
        self.recovered_causes = recovered_causes
        self.lost: dict[str, list[tuple[int, int, Content]]] = defaultdict(list)
        self.recoveries: dict[str, list[tuple[int, int]]] = defaultdict(list)

    # What an operation does

    def flow_of(self, entry: Entry, lots: dict[int, Lot]) -> Flow:
        """What the operation takes and gives by origin, from the lots as they stand before it."""
        kind = entry.head.kind
        flow = Flow()
        if kind == Kind.RECEIVE:
            self._receipt(entry, flow)
            return flow
        ins = [line for line in entry.lines if line.side == Side.IN and line.lot in lots]
        for line in ins:
            self._take(line, lots[line.lot], flow)
        if kind == Kind.DISPATCH:
            return flow
        if any(line.what == "valuation" for line in entry.lines):
            self._valuation(entry, ins, lots, flow)
        else:
            self._mix(entry, ins, lots, flow)
        return flow

    def _receipt(self, entry: Entry, flow: Flow) -> None:
        of_lot = {lot: origin for origin, kind, lot in entry.origins if kind == OriginKind.PARCEL}
        for line in entry.lines:
            if line.side != Side.OUT:
                continue
            origin = of_lot.get(line.lot)
            if origin is None or line.origin != origin:
                self.check.breach(_at(entry, line), "a parcel is an origin of its own", stored=line.origin)
                continue
            flow.given[line.line] = sole_content(origin, line.amounts, line.valued)
            flow.received[origin] = list(line.amounts)
        if len(entry.origins) != len(flow.received):
            self.check.breach(entry.head.number, "a receipt has as many origins as parcels")

    def _take(self, line: Line, lot: Lot, flow: Flow) -> None:
        if lot.sole is not None:
            flow.taken[line.line] = sole_content(lot.sole, line.amounts, line.valued)
            return
        if line.amounts == lot.amounts:
            flow.taken[line.line], flow.rest[line.line] = lot.content, {}
            return
        taken, rest = {}, {}
        for column, vector in lot.content.items():
            amount = line.amounts[column]
            first, second = self._spread(vector, [amount, sum(vector.mgs) - amount], f"lot {lot.number}", column)
            taken |= {column: first} if first else {}
            rest |= {column: second} if second else {}
        flow.taken[line.line], flow.rest[line.line] = taken, rest

    def _spread(self, pool: Vector, amounts: list[int], where: str, column: int) -> list[Vector | None]:
        try:
            return spread_out(pool, amounts)
        except (Refused, OverflowError):
            self.check.breach(
                where, f"{COLUMNS[column]}: the origins do not sum to the book", pool=sum(pool.mgs), book=amounts
            )
            return [None] * len(amounts)

    def _mix(self, entry: Entry, ins: list[Line], lots: dict[int, Lot], flow: Flow) -> None:
        rest = [line for line in entry.lines if line.side in (Side.OUT, Side.LOSS)]
        gains = self._gains(entry, rest, flow)
        soles = {lots[line.lot].sole for line in ins}
        if len(soles) == 1 and None not in soles and not gains:
            flow.sole = soles.pop()
            for line in rest:
                flow.given[line.line] = sole_content(flow.sole, line.amounts, line.valued)
            return
        pools = added([*flow.taken.values(), *gains])
        if 0 in pools:
            grown = sum(max(line.amounts[0], 0) for line in rest)
            pools[0] = packed(pools[0].origins, largest_remainder(grown, pools[0].mgs))
        self._serve(pools, rest, flow, entry)

    def _serve(self, pools: Content, rest: list[Line], flow: Flow, entry: Entry) -> None:
        flow.pooled = True
        for column, pool in pools.items():
            amounts = [max(line.amounts[column], 0) for line in rest]
            for line, share in zip(rest, self._spread(pool, amounts, entry.head.number, column), strict=True):
                if share:
                    flow.given.setdefault(line.line, {})[column] = share
        stored = {column: vector for (line, column), vector in entry.vectors.items() if line == 0}
        if not same(pools, stored):
            self.check.breach(
                entry.head.number,
                "the pool is what went in by origin",
                stored=as_rows(stored),
                recomputed=as_rows(pools),
            )

    # Gains, recoveries and valuations

    def _gains(self, entry: Entry, rest: list[Line], flow: Flow) -> list[Content]:
        """What gains and recoveries bring into the pool; each measured gain is an origin of its own."""
        negative = [line for line in rest if line.side == Side.LOSS and min(line.amounts[1:]) < 0]
        measured = [line for line in negative if line.what == Cause.DIFFERENCE]
        origins = [origin for origin, kind, _ in entry.origins if kind == OriginKind.DIFFERENCE]
        if len(origins) != len(measured) or len(entry.origins) != len(origins):
            self.check.breach(entry.head.number, "each measured gain is an origin", stored=entry.origins)
        gains = []
        for line, origin in zip(measured, origins, strict=False):
            brought = [max(-amount, 0) for amount in line.amounts]
            flow.received[origin] = [0, *brought[1:]]
            gains.append(sole_content(origin, tuple(brought), True))
        for line in negative:
            if line.what != Cause.DIFFERENCE:
                gains.append(self._recovery(entry, line))
                flow.given[line.line] = gains[-1]
        return gains

    def _recovery(self, entry: Entry, line: Line) -> Content:
        """Metal recovered from a loss carries the origins lost there since the last recovery."""
        since = max((movement for movement, _ in self.recoveries[line.what]), default=0)
        lost = added([content for movement, _, content in self.lost[line.what] if movement > since])
        back = {}
        for column in METAL_COLUMNS:
            if line.amounts[column] >= 0:
                continue
            found = lost.get(column)
            if found is None or sum(found.mgs) < -line.amounts[column]:
                self.check.breach(_at(entry, line), "more recovered than was lost", line=line.amounts)
                continue
            back[column] = packed(found.origins, largest_remainder(-line.amounts[column], found.mgs))
        return back

    def _valuation(self, entry: Entry, ins: list[Line], lots: dict[int, Lot], flow: Flow) -> None:
        """The receipt of metal: each metal goes to the lot's origins in proportion to what they brought."""
        lot = lots[ins[0].lot]
        rest = [line for line in entry.lines if line.side in (Side.OUT, Side.LOSS)]
        before = lot.held_by_origin()
        received: dict[int, list[int]] = defaultdict(lambda: [0] * 6)
        pools = {}
        for column in METAL_COLUMNS:
            total = sum(line.amounts[column] for line in rest)
            known = before.get(column if lot.valued else 0)
            weights = known or (_richest(before) if total else None)
            if weights is None and total and lot.sole is not None:
                weights = Vector([lot.sole], [1])
            if weights is None:
                continue
            shares = largest_remainder(total, weights.mgs)
            had = known.mgs if known and lot.valued else [0] * len(shares)
            for origin, now, earlier in zip(weights.origins, shares, had, strict=True):
                received[origin][column] += now - earlier
            if total:
                pools[column] = packed(weights.origins, shares)
        flow.received = {origin: amounts for origin, amounts in received.items() if any(amounts)}
        flow.sole = lot.sole
        if lot.sole is None:
            self._serve(pools, rest, flow, entry)
            return
        for line in rest:
            flow.given[line.line] = sole_content(lot.sole, line.amounts, True)

    # What storage says of it

    def compare(self, entry: Entry, flow: Flow, lots: dict[int, Lot]) -> None:
        """Notes where the stored origins are not those of the flow: lines, vectors, received milligrams."""
        self.compare_vectors(entry, pooled=flow.pooled)
        self.check.expect(
            {origin: amounts for origin, amounts in entry.receipts.items() if any(amounts)},
            {origin: amounts for origin, amounts in flow.received.items() if any(amounts)},
            entry.head.number,
            "milligrams received by origin",
        )
        for line in entry.lines:
            if line.side != Side.ADD and line.spread not in _spreads(line):
                self.check.breach(_at(entry, line), "of which vector the line is a slice", stored=line.spread)
            expected = self._expected(line, flow)
            if expected is None:
                continue
            self.check.checked += 1
            sole = lots[line.lot].sole if line.side == Side.IN and line.lot in lots else flow.sole
            if entry.head.kind != Kind.RECEIVE and line.origin != sole:
                self.check.breach(_at(entry, line), "the one origin of a line", stored=line.origin, recomputed=sole)
            self._compare_line(entry, line, expected)

    def compare_vectors(self, entry: Entry, *, pooled: bool) -> None:
        """Notes vectors that are torn, and those that belong to no line; line 0 is the operation's pool."""
        for broken in entry.broken_vectors:
            self.check.breach(f"{entry.head.number} {broken}", "the chunks of a vector are whole")
        keeping = {line.line for line in entry.lines if line.spread in (2, 3)} | ({0} if pooled else set())
        for stray in sorted({line for line, _ in entry.vectors} - keeping):
            self.check.breach(f"{entry.head.number} line {stray}", "a vector of no line")

    def _expected(self, line: Line, flow: Flow) -> Content | None:
        if line.side == Side.IN:
            # A whole take is what the lot held; it stores nothing of its own.
            return flow.taken.get(line.line) if flow.rest.get(line.line) or line.origin is not None else None
        return flow.given.get(line.line, {}) if line.side != Side.ADD and line.what != "dispatched" else None

    def _compare_line(self, entry: Entry, line: Line, expected: Content) -> None:
        try:
            stored = told(line, entry)
        except (Unreadable, OverflowError) as error:
            self.check.breach(_at(entry, line), "the stored codes can be read", stored=str(error))
            return
        if not same(stored, expected):
            self.check.breach(
                _at(entry, line), "milligrams by origin", stored=as_rows(stored), recomputed=as_rows(expected)
            )

    # What it all sums to

    def count(self, entry: Entry, flow: Flow, sign: int = 1) -> None:
        """Adds the operation to the fates of its origins; with ``sign`` −1 takes it away again (a reversal)."""
        for origin, amounts in flow.received.items():
            for column in METAL_COLUMNS:
                self.fates[origin].received[column] += sign * amounts[column]
        for line in entry.lines:
            if line.side == Side.LOSS and line.line in flow.given:
                self._count_loss(entry, line, flow.given[line.line], sign)
            if entry.head.kind == Kind.DISPATCH and line.line in flow.taken:
                for column, origin, mg in _milligrams(flow.taken[line.line]):
                    self.fates[origin].dispatched[column] += sign * mg

    def _count_loss(self, entry: Entry, line: Line, content: Content, sign: int) -> None:
        for column, origin, mg in _milligrams(content):
            self.fates[origin].lost[column] += mg * (sign if line.amounts[column] > 0 else -sign)
        if line.what not in self.recovered_causes:
            return
        if min(line.amounts[1:]) < 0:
            book, record = self.recoveries[line.what], (line.id, entry.id)
        else:
            book, record = self.lost[line.what], (line.id, entry.id, content)
        if sign > 0:
            book.append(record)
        else:
            book[:] = [known for known in book if known[0] != line.id]

    def sum_up(self, lots: dict[int, Lot]) -> None:
        """Held + dispatched + lost = received, for every origin and metal."""
        for lot in lots.values():
            if lot.amounts[0]:
                for column, origin, mg in _milligrams(lot.held_by_origin()):
                    self.fates[origin].held[column] += mg
        for origin, fate in sorted(self.fates.items()):
            self.check.checked += 1
            for column in METAL_COLUMNS:
                known = (fate.held[column], fate.dispatched[column], fate.lost[column])
                if sum(known) != fate.received[column] or min(known) < 0:
                    self.check.breach(
                        f"origin {origin}",
                        f"{COLUMNS[column]}: held + dispatched + lost = received",
                        held_dispatched_lost=known,
                        received=fate.received[column],
                    )


def _milligrams(content: Content):
    for column, vector in content.items():
        if column:
            for origin, mg in zip(vector.origins, vector.mgs, strict=True):
                yield column, origin, mg


def _spreads(line: Line) -> tuple[int, ...]:
    """Of which vectors a line may be a slice: of none, the pool's, the split lot's, or its own."""
    if line.origin is not None or (line.side == Side.IN and line.whole) or line.what == "delivered":
        return (0,)
    return (2,) if line.side == Side.IN else (1, 3)


def _richest(content: Content) -> Vector | None:
    totals = sorted((-sum(vector.mgs), column) for column, vector in content.items())
    return content[totals[0][1]] if totals else None


def _at(entry: Entry, line: Line) -> str:
    return f"{entry.head.number} line {line.line}"
