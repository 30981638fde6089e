"""The plan of a plant written as rows, exactly as the poster would write them, for plants too large to post.

``check`` compares the two on a small plant. Left empty are the canonical bytes and their hash, which no trace reads.
The origin rule is the one of custody/calc/provenance.py, over whole vectors at once.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np

from custody.terms import METALS
from tests.bench.plant import Record

#: Takes rows of one table: its name, the columns, the lines of a COPY.
Copy = Callable[[str, Sequence[str], list[str]], None]

#: Of one column: origins ascending, and their milligrams.
Pool = tuple[np.ndarray, np.ndarray]

AMOUNTS = ("gross_mg", *(f"{metal.lower()}_mg" for metal in METALS))
OPERATION = (
    "id", "number", "kind", "at", "day", "recorded_at", "by_id", "source", "party_id", "place_id", "run_id", "reason",
    "basis", "delivered_by", "over_tolerance", "countersign_meaning", "movement_count", "canonical", "sha256",
)  # fmt: skip
MOVEMENT = (
    "id", "operation_id", "line", "side", "lot_id", "what", "words", *AMOUNTS, "valued", "whole", "custodian_id",
    "place_id", "content_before", "spread", "origin_id", "codes",
)  # fmt: skip
LOT = (
    "id", "number", "form", "created_by_id", "receipt_id", "declared_origin", "pooled", "custody_model", "clearance",
    "valued", "run_id", "custodian_id", "place_id", "last_at", "last_movement", "content_movement", *AMOUNTS,
)  # fmt: skip
VECTOR = ("id", "operation_id", "line", "column_no", "chunk", "total_mg", "origins", "mgs", "passing")
ORIGIN = ("id", "kind", "lot_id", "operation_id")
RECEIPT = ("id", "origin_id", "operation_id", *AMOUNTS)
PARCEL = (
    "lot_id", "line", "category", "country", "mine", "description", "seal", "declared_words", "export_paper",
    "transport_paper",
)  # fmt: skip
BAR = ("id", "lot_id", "mark", "serial", "year")
RUN = ("id", "number", "step", "vessel_id", "opened_by_id", "content_id")
TABLES = {
    "operation": OPERATION, "movement": MOVEMENT, "vector": VECTOR, "origin": ORIGIN, "originreceipt": RECEIPT,
    "parcel": PARCEL, "bar": BAR, "run": RUN, "lot": LOT,
}  # fmt: skip

CHUNK = 128
ENOUGH = 200_000  # rows in hand before they are written
CODES = np.array([b"00", b"01", b"10", b"11"])


@dataclass(slots=True)
class HeldLot:
    """A lot's row while it may still change, and what it holds: one origin's alone, or vectors by column."""

    row: list[Any]
    sole: int | None = None
    pools: dict[int, Pool] = field(default_factory=dict)

    @property
    def amounts(self) -> list[int]:
        return self.row[16:]


@dataclass(frozen=True, slots=True)
class House:
    """The ids that the rows refer to."""

    by: int
    place: int
    vessel: int
    parties: dict[str, int]


def spread(pool: np.ndarray, amounts: Sequence[int]) -> list[tuple[np.ndarray, np.ndarray]]:
    """What each amount takes of each origin, and its exact share rounded down, in milligrams."""
    total = int(pool.sum())
    given = np.zeros_like(pool)
    served = 0
    shares = []
    floor_of: dict[int, np.ndarray] = {}
    for amount in amounts:
        served += amount
        if amount not in floor_of:
            floor_of[amount] = pool * amount // total
        floor = floor_of[amount]
        if amount == 0:
            taken = floor
        elif served == total:
            taken = pool - given
        else:
            taken = np.minimum(floor, pool - given)
            behind = pool * served - total * (given + taken)
            queue = np.argsort(-behind, kind="stable")
            while lacking := amount - int(taken.sum()):
                open_ones = queue[(given + taken < pool)[queue]][:lacking]
                taken[open_ones] += 1
        given = given + taken
        shares.append((taken, floor))
    return shares


def merged(pools: list[Pool]) -> Pool:
    """Several pools as one, origins ascending."""
    origins = np.concatenate([origins for origins, _ in pools])
    mgs = np.concatenate([mgs for _, mgs in pools])
    order = np.argsort(origins, kind="stable")
    origins, mgs = origins[order], mgs[order]
    starts = np.flatnonzero(np.diff(origins, prepend=-1))
    return origins[starts], np.add.reduceat(mgs, starts)


class RowWriter:
    """Turns operation records into rows; ``finish`` writes the lots as they stand at the end."""

    def __init__(self, copy: Copy, house: House) -> None:
        self.copy = copy
        self.house = house
        self.lots: dict[str, HeldLot] = {}
        self.rows: dict[str, list[str]] = {table: [] for table in TABLES}
        self.ids = dict.fromkeys(TABLES, 0)
        self.run: list[Any] = []
        self.waiting = 0

    def write(self, record: Record) -> None:
        operation = self._next("operation")
        number_of_lines = (
            self._receive(operation, record) if record["kind"] == "receive" else self._step(operation, record)
        )
        at = record["at"]
        party = self.house.parties.get(record.get("party", ""))
        run = self.run[0] if record["kind"] in ("charge", "draw") else None
        self._row(
            "operation", operation, record["number"], record["kind"], at, at[:10], at, self.house.by, "history", party,
            self.house.place, run, "", "", "", False, "", number_of_lines, "", "\\\\x",
        )  # fmt: skip
        if self.waiting >= ENOUGH:
            self._flush()

    def finish(self) -> None:
        if self.run:
            self._row("run", *self.run)
        for lot in self.lots.values():
            self._row("lot", *lot.row)
        self._flush()

    def _receive(self, operation: int, record: Record) -> int:
        total = np.sum([amounts_of(made) for made in record["outputs"]], axis=0).tolist()
        self._movement(operation, 1, "in", None, "delivered", total)
        for line, made in enumerate(record["outputs"], start=2):
            origin = self._next("origin")
            declared = made["origin"]
            kind = f"{declared['category']}|{declared['country']}"
            lot = self._make(operation, record, made, receipt=operation, declared=kind)
            lot.sole = origin
            self._row("origin", origin, "parcel", lot.row[0], operation)
            self._put_out(operation, line, lot, origin=origin)
            said_nothing = [""] * 6
            self._row("parcel", lot.row[0], line - 1, declared["category"], declared["country"], *said_nothing)
            self._row("originreceipt", self._next("originreceipt"), origin, operation, *amounts_of(made))
        return len(record["outputs"]) + 1

    def _step(self, operation: int, record: Record) -> int:
        lots = [self.lots[taken["lot"]] for taken in record["inputs"]]
        made = self._outputs(operation, record, lots)
        taken = [
            self._take(operation, line, lot, entry, record["at"])
            for line, (lot, entry) in enumerate(zip(lots, record["inputs"], strict=True), start=1)
        ]
        soles = {lot.sole for lot in lots}
        sole = lots[0].sole if len(soles) == 1 else None
        line = len(lots)
        for addition in record.get("additions", []):
            line += 1
            self._movement(operation, line, "add", None, addition["what"], [addition["gross_mg"], 0, 0, 0, 0, 0])
        losses = record.get("losses", [])
        if record["kind"] == "dispatch":
            total = np.sum([amounts for amounts, _ in taken], axis=0).tolist()
            place = {"spread": 0, "origin": sole} if sole else {"spread": 1, "codes": [None] * 6}
            self._movement(operation, line + 1, "out", None, "dispatched", total, **place)
            return line + 1
        if sole is not None:
            shares = [{"origin": sole}] * (len(made) + len(losses))
            for lot in made:
                lot.sole = sole
        else:
            amounts = [lot.amounts for lot in made] + [amounts_of(loss) for loss in losses]
            shares = self._share(operation, line, taken, amounts, made)
        for lot, share in zip(made, shares, strict=False):
            line += 1
            self._put_out(operation, line, lot, **share)
        for loss, share in zip(losses, shares[len(made) :], strict=True):
            line += 1
            self._movement(operation, line, "loss", None, loss["cause"], amounts_of(loss), **share)
        return line

    def _outputs(self, operation: int, record: Record, lots: list[HeldLot]) -> list[HeldLot]:
        receipts = {lot.row[4] for lot in lots}
        declared = {lot.row[5] for lot in lots}
        receipt = receipts.pop() if len(receipts) == 1 else None
        kind = declared.pop() if len(declared) == 1 else ""
        made = [self._make(operation, record, entry, receipt, kind) for entry in record.get("outputs", [])]
        if record["kind"] == "charge":
            if not self.run:
                number = f"RUN{record['at'][2:4]}-00001"
                self.run = [self._next("run"), number, "dissolve", self.house.vessel, operation, 0]
            self.run[5] = made[0].row[0]
            made[0].row[10] = self.run[0]
        return made

    def _take(
        self, operation: int, line: int, lot: HeldLot, entry: Record, at: str
    ) -> tuple[list[int], dict[int, Pool]]:
        """The amounts taken, and the pools taken of a lot that is not one origin's alone."""
        book = lot.amounts
        amounts = amounts_of(entry) if "gross_mg" in entry else book
        whole = amounts == book
        taken = lot.pools
        spread_no, codes = 0, None
        if lot.sole is None and not whole:
            self._vectors(operation, line, lot.pools, passing=lot.row[2] == "in process")
            taken, rest, codes, spread_no = {}, {}, [None] * 6, 2
            for column, (origins, mgs) in lot.pools.items():
                part, floor = spread(mgs, [amounts[column], book[column] - amounts[column]])[0]
                codes[column] = bits(part, floor) if amounts[column] else None
                taken[column] = kept(origins, part)
                rest[column] = kept(origins, mgs - part)
            lot.pools = rest
        elif lot.sole is not None:
            taken = {
                column: (np.array([lot.sole]), np.array([mg])) for column, mg in enumerate(amounts) if column and mg
            }
        movement = self._movement(
            operation, line, "in", lot, "", amounts, whole=whole, before=lot.row[15], spread=spread_no, origin=lot.sole,
            codes=codes,
        )  # fmt: skip
        lot.row[13], lot.row[14] = at, movement
        lot.row[16:] = [held - mg for held, mg in zip(book, amounts, strict=True)]
        if not whole:
            lot.row[15] = movement
        return amounts, taken

    def _share(
        self, operation: int, line: int, taken: list[tuple[list[int], dict[int, Pool]]], amounts: list[list[int]],
        made: list[HeldLot],
    ) -> list[Record]:  # fmt: skip
        """Stores the operation's pools and spreads them over its outputs and losses."""
        pools: dict[int, Pool] = {}
        for column in range(1, 6):
            parts = [part[column] for _, part in taken if column in part and len(part[column][0])]
            if parts:
                pools[column] = merged(parts)
        self._vectors(operation, 0, pools, passing=made[0].row[2] == "in process")
        codes: list[list[str | None]] = [[None] * 6 for _ in amounts]
        shares = {column: spread(mgs, [amount[column] for amount in amounts]) for column, (_, mgs) in pools.items()}
        for column, of_column in shares.items():
            for row, (part, floor) in enumerate(of_column):
                codes[row][column] = bits(part, floor) if amounts[row][column] else None
                if row < len(made) and made[row].row[2] != "bar":
                    made[row].pools[column] = kept(pools[column][0], part)
        for row, code in enumerate(codes):
            if any(text == "" for text in code):
                self._vectors(operation, line + 1 + row, {c: kept(pools[c][0], s[row][0]) for c, s in shares.items()})
        return [
            {"spread": 3, "codes": None} if any(text == "" for text in code) else {"spread": 1, "codes": code}
            for code in codes
        ]

    def _make(self, operation: int, record: Record, made: Record, receipt: int | None, declared: str) -> HeldLot:
        vessel = self.house.vessel if "vessel" in made else self.house.place
        row = [
            self._next("lot"), made["lot"], made["form"], operation, receipt, declared, False, "mass balance",
            "released", True, None, self.house.by, vessel, record["at"], 0, 0, *amounts_of(made),
        ]  # fmt: skip
        lot = self.lots[made["lot"]] = HeldLot(row)
        if "serial" in made:
            self._row("bar", self._next("bar"), row[0], "", made["serial"], datetime.fromisoformat(record["at"]).year)
        return lot

    def _put_out(self, operation: int, line: int, lot: HeldLot, **share: Any) -> None:
        lot.row[14] = lot.row[15] = self._movement(operation, line, "out", lot, "", lot.amounts, **share)

    def _movement(
        self, operation: int, line: int, side: str, lot: HeldLot | None, what: str, amounts: list[int], *,
        whole: bool = False, before: int | None = None, spread: int = 0, origin: int | None = None,
        codes: list[str | None] | None = None,
    ) -> int:  # fmt: skip
        movement = self._next("movement")
        lot_id, custodian, place = (lot.row[0], self.house.by, lot.row[12]) if lot else (None, None, None)
        coded = codes and "{" + ",".join(code or "NULL" for code in codes) + "}"
        self._row(
            "movement", movement, operation, line, side, lot_id, what, "", *amounts, True, whole, custodian, place,
            before, spread, origin, coded,
        )  # fmt: skip
        return movement

    def _vectors(self, operation: int, line: int, pools: dict[int, Pool], *, passing: bool = False) -> None:
        for column, (origins, mgs) in sorted(pools.items()):
            total = int(mgs.sum())
            for chunk, start in enumerate(range(0, len(origins), CHUNK)):
                part = slice(start, start + CHUNK)
                self._row(
                    "vector", self._next("vector"), operation, line, column, chunk, total, listed(origins[part]),
                    listed(mgs[part]), passing,
                )  # fmt: skip

    def _next(self, table: str) -> int:
        self.ids[table] += 1
        return self.ids[table]

    def _row(self, table: str, *values: Any) -> None:
        self.rows[table].append("\t".join(["\\N" if value is None else str(value) for value in values]))
        self.waiting += 1

    def _flush(self) -> None:
        for table, rows in self.rows.items():
            if rows:
                self.copy(f"custody_{table}", TABLES[table], rows)
                self.rows[table] = []
        self.waiting = 0


def amounts_of(entry: Record) -> list[int]:
    metals = entry.get("fine_mg", {})
    return [entry["gross_mg"], *(metals.get(metal, 0) for metal in METALS)]


def kept(origins: np.ndarray, mgs: np.ndarray) -> Pool:
    some = mgs > 0
    return origins[some], mgs[some]


def bits(taken: np.ndarray, floor: np.ndarray) -> str:
    """Two bits an origin, or an empty string where they do not reach."""
    codes = taken - floor + 1
    if codes.min() < 0 or codes.max() > 3:
        return ""
    return CODES[codes].tobytes().decode()


def listed(numbers: np.ndarray) -> str:
    return "{" + ",".join(map(str, numbers.tolist())) + "}"
