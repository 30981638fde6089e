"""A busy plant as a plan: operation records in milligrams, in the order in which they happen.

The same plan becomes a history file, goes through the poster, or is written as rows. Residues, slags and skeletons of
every batch go into the next one; silver goes through a cell of which a tenth is drawn at every charge.
"""

import json
import random
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

Record = dict[str, Any]

START = datetime(2015, 1, 5, 6, tzinfo=UTC)
PARTIES = 60
PARCELS_A_BATCH = 5
BARS_A_CAST = 40
BATCHES_A_CHARGE = 10
CELL = "CELL-1"


class Plant:
    """Makes one batch after the other; ``lots`` counts the lots that they made."""

    def __init__(self, seed: int) -> None:
        self.chance = random.Random(seed)
        self.at = START
        self.lots = 0
        self.operations = 0
        self.bars = 0
        self.returns: list[str] = []
        self.chlorides: list[str] = []
        self.cell = ""
        self.book: dict[str, tuple[int, dict[str, int]]] = {}

    def batches(self, until_lots: int) -> Iterator[Record]:
        """Operations, until at least so many lots are made."""
        batch = 0
        while self.lots < until_lots:
            batch += 1
            melts = []
            slags = []
            for _ in range(PARCELS_A_BATCH):
                yield (receipt := self._receive())
                yield (melt := self._melt(receipt["outputs"][0]["lot"]))
                melts.append(melt["outputs"][0]["lot"])
                slags.append(melt["outputs"][1]["lot"])
            yield (dissolved := self._dissolve(melts + self.returns))
            sand, chloride, residue, _ = (made["lot"] for made in dissolved["outputs"])
            yield (cast := self._cast(sand))
            yield self._dispatch([bar["lot"] for bar in cast["outputs"][: BARS_A_CAST // 2]])
            self.returns = [*slags, residue, cast["outputs"][-1]["lot"]]
            self.chlorides.append(chloride)
            if batch % BATCHES_A_CHARGE == 0:
                yield from self._silver()

    def _receive(self) -> Record:
        metals = {
            "Au": self.chance.randint(200_000, 1_800_000),
            "Ag": self.chance.randint(50_000, 600_000),
            "Cu": self.chance.randint(5_000, 150_000),
        }
        parcel = self._made("dore", sum(metals.values()) + self.chance.randint(1_000, 40_000), metals)
        country = self.chance.choice(("NO", "GH", "AU", "CL", "CA"))
        parcel["origin"] = {"category": "mined", "country": country}
        party = f"P-{self.chance.randint(1, PARTIES):05d}"
        return self._operation("receive", party=party, outputs=[parcel])

    def _melt(self, parcel: str) -> Record:
        gross, metals = self.book[parcel]
        flux = gross // 100
        slag = {"Au": metals["Au"] // 2_000, "Ag": metals["Ag"] // 2_000, "Cu": metals["Cu"] // 10}
        fume = {"Cu": metals["Cu"] // 50}
        kept = {metal: mg - slag[metal] - fume.get(metal, 0) for metal, mg in metals.items()}
        slag_gross = sum(slag.values()) + flux
        outputs = [
            self._made("melt", gross + flux - slag_gross - fume["Cu"], kept),
            self._made("slag", slag_gross, slag),
        ]
        return self._operation(
            "melt",
            inputs=[self._whole(parcel)],
            additions=[{"what": "flux", "gross_mg": flux}],
            outputs=outputs,
            losses=[{"cause": "fume", "gross_mg": fume["Cu"], "fine_mg": fume}],
        )

    def _dissolve(self, lots: list[str]) -> Record:
        gross, metals = self._sum(lots)
        acid = 4 * gross
        sand = {"Au": metals["Au"] * self.chance.randint(900, 960) // 1_000, "Ag": metals["Ag"] // 500}
        chloride = {"Ag": metals["Ag"] * 97 // 100, "Au": metals["Au"] // 20_000}
        lost = {"Au": metals["Au"] // 5_000, "Ag": metals["Ag"] // 2_000}
        residue = {metal: metals[metal] - sand[metal] - chloride[metal] - lost[metal] for metal in ("Au", "Ag")}
        solids = (sum(sand.values()) + 500, sum(chloride.values()) * 4 // 3, sum(residue.values()) + 20_000)
        outputs = [
            self._made("gold sand", solids[0], sand),
            self._made("silver chloride", solids[1], chloride),
            self._made("residue", solids[2], residue),
            self._made("solution", gross + acid - sum(solids) - sum(lost.values()), {"Cu": metals["Cu"]}),
        ]
        return self._operation(
            "dissolve",
            inputs=[self._whole(lot) for lot in lots],
            additions=[{"what": "acid", "gross_mg": acid}],
            outputs=outputs,
            losses=[{"cause": "filter", "gross_mg": sum(lost.values()), "fine_mg": lost}],
        )

    def _cast(self, sand: str) -> Record:
        gross, metals = self.book[sand]
        share = self.chance.randint(450, 650)
        bar_metals = {metal: mg * share // 1_000 // BARS_A_CAST for metal, mg in metals.items()}
        bar_gross = gross * share // 1_000 // BARS_A_CAST
        outputs = [self._made("bar", bar_gross, bar_metals) for _ in range(BARS_A_CAST)]
        for bar in outputs:
            self.bars += 1
            bar["serial"] = f"B{self.bars:08d}"
        rest = {metal: mg - BARS_A_CAST * bar_metals[metal] for metal, mg in metals.items()}
        outputs.append(self._made("skeleton", gross - BARS_A_CAST * bar_gross, rest))
        return self._operation("cast", inputs=[self._whole(sand)], outputs=outputs)

    def _dispatch(self, lots: list[str]) -> Record:
        party = f"P-{self.chance.randint(1, PARTIES):05d}"
        return self._operation("dispatch", party=party, inputs=[self._whole(lot) for lot in lots])

    def _silver(self) -> Iterator[Record]:
        """Cements the silver chlorides, charges the cell with the silver and draws a tenth of its content."""
        gross, metals = self._sum(self.chlorides)
        inputs = [self._whole(lot) for lot in self.chlorides]
        self.chlorides = []
        cement = self._made("silver sand", sum(metals.values()), metals)
        waste = self._made("solution", gross - sum(metals.values()), {})
        yield self._operation("cement silver", inputs=inputs, outputs=[cement, waste])
        feed = [lot for lot in (self.cell, cement["lot"]) if lot]
        content = self._made("in process", *self._sum(feed))
        content["vessel"] = CELL
        yield self._operation("charge", inputs=[self._whole(lot) for lot in feed], outputs=[content])
        self.cell = content["lot"]
        yield self._draw()

    def _draw(self) -> Record:
        gross, metals = self.book[self.cell]
        drawn = {metal: mg // 10 for metal, mg in metals.items()}
        taken = {"lot": self.cell, "gross_mg": sum(drawn.values()), "fine_mg": drawn}
        left = {metal: mg - drawn[metal] for metal, mg in metals.items()}
        self.book[self.cell] = (gross - sum(drawn.values()), left)
        return self._operation("draw", inputs=[taken], outputs=[self._made("cathode", sum(drawn.values()), drawn)])

    def _made(self, form: str, gross: int, metals: dict[str, int]) -> Record:
        self.lots += 1
        number = f"L-{self.lots:08d}"
        self.book[number] = (gross, metals)
        return {"lot": number, "form": form, "gross_mg": gross, "fine_mg": {m: mg for m, mg in metals.items() if mg}}

    def _whole(self, lot: str) -> Record:
        del self.book[lot]
        return {"lot": lot}

    def _sum(self, lots: list[str]) -> tuple[int, dict[str, int]]:
        metals: dict[str, int] = {}
        for lot in lots:
            for metal, mg in self.book[lot][1].items():
                metals[metal] = metals.get(metal, 0) + mg
        return sum(self.book[lot][0] for lot in lots), metals

    def _operation(self, kind: str, **lines: Any) -> Record:
        self.operations += 1
        self.at += timedelta(minutes=self.chance.randint(1, 5))
        return {"number": f"OP-{self.operations:08d}", "kind": kind, "at": self.at.isoformat(), **lines}


def parties() -> list[tuple[str, str, str]]:
    """Code, name and country of the parties that the plan names."""
    return [(f"P-{i:05d}", f"Invented Party {i}", "NO") for i in range(1, PARTIES + 1)]


def history_lines(operations: int, seed: int) -> list[str]:
    """A history file of so many operations."""
    lines = [{"record": "header", "format": "custody-history", "version": 1}]
    lines += [{"record": "party", "code": code, "name": name, "country": land} for code, name, land in parties()]
    for made, operation in enumerate(Plant(seed).batches(until_lots=100 * operations)):
        if made == operations:
            break
        lines.append({"record": "operation", **_in_grams(operation)})
    return [json.dumps(line) for line in lines]


def _in_grams(value: Any) -> Any:
    """Every ``…_mg`` of a record as ``…_g``, a string of grams."""
    if isinstance(value, list):
        return [_in_grams(item) for item in value]
    if not isinstance(value, dict):
        return value
    record = {}
    for key, item in value.items():
        if key == "gross_mg":
            record["gross_g"] = _grams(item)
        elif key == "fine_mg":
            record["fine_g"] = {metal: _grams(mg) for metal, mg in item.items()}
        else:
            record[key] = _in_grams(item)
    return record


def _grams(mg: int) -> str:
    return f"{mg // 1000}.{mg % 1000:03d}"
