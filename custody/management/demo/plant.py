"""The plant of the demo: two routes ordered, one worked to stamped bars, a cell under current, tanks, water, a cage."""

from collections.abc import Mapping
from datetime import timedelta

from custody.actions import bar_types, boxes, cells, house, runs, solutions, tanks, vault, work
from custody.actions._sign import Signature
from custody.actions.issue_batch import issue_batch_sheet
from custody.actions.routes import order_route
from custody.actions.runs import Into
from custody.actions.weigh import Weighed
from custody.calc.apportion import divide, withdraw
from custody.calc.route import Step
from custody.management.demo.desk import Desk, G
from custody.models import Lot, Place, RouteOrder, Run
from custody.queries import planner
from custody.queries.reckoning import reckon
from custody.terms import METALS, PPM, Addition, Cause, Form, Kind, PlaceKind

KG = 1_000 * G
#: Code, name, capacity in litres, and the tank into which it overflows.
VESSELS = (
    ("VESSEL-1", "Dissolving vessel 1", 120, ""),
    ("VESSEL-2", "Dissolving vessel 2", 120, ""),
    ("VESSEL-3", "Precipitation vessel", 150, ""),
    ("CELL-1", "Gold cell", 40, ""),
    ("CELL-2", "Silver cell", 60, ""),
    ("TANK-2", "Neutralising tank", 400, ""),
    ("TANK-1", "Copper tank", 250, "TANK-2"),
)
#: Micrograms a litre; pH in hundredths. The invented permit of the invented house.
PERMIT = {"Au": (None, 500), "Ag": (None, 1_000), "Cu": (None, 2_000), "Pb": (None, 500), "pH": (650, 900)}


def lay_out(desk: Desk) -> None:
    """Vessels, the cage that two people open, bar types, serials of the year, and what water may carry."""
    maren, at = desk.house.maren, desk.clock.tick()
    for code, name, litres, onward in VESSELS:
        place = Place.objects.filter(code=code).first() or house.add_place(
            code=code, name=name, kind=PlaceKind.VESSEL, by=maren
        )
        into = Place.objects.filter(code=onward).first()
        tanks.set_vessel(place=place, capacity_ml=litres * 1_000, overflows_to=into, by=maren)
    desk.house.places["CAGE"] = house.add_place(
        code="CAGE", name="Bar cage", kind=PlaceKind.VAULT, by=maren, two_person=True
    )
    bar_types.lay_usual_bar_types(by=maren)
    for year in sorted({at.year, (at + timedelta(days=60)).year}):
        bar_types.set_aside_serials(mark="HFR", year=year, head="", width=6, first=1, last=9_999, at=at, by=maren)
    solutions.set_effluent_limits(
        valid_from=at.date(), limits=PERMIT, note="Permit of the water board", at=at, by=maren
    )


class Floor:
    """The operator at the furnaces and vessels; lots by what they are called here, milligrams."""

    def __init__(self, desk: Desk) -> None:
        self.desk = desk
        self.lots: dict[str, str] = {}

    def lot(self, name: str) -> Lot:
        """A lot as the book has it now."""
        return Lot.objects.get(number=self.lots[name])

    def make(self, form: Form, gross_mg: int, **more) -> work.Make:
        """A product on the scale; its metals are among ``more``."""
        fine = {metal: more.pop(metal) for metal in METALS if metal in more}
        weighed = Weighed(self.desk.scale_for(gross_mg), gross_mg)
        return work.Make(form, gross_mg, fine, place="HALL", weighed=weighed, **more)

    def step(self, kind: Kind, takes: Mapping[str, int | None], makes: Mapping[str, work.Make], *,
             lose: tuple[work.Lose, ...] = (), add: tuple[work.Add, ...] = (), even: bool = False,
             order: RouteOrder | None = None, station: Step | None = None) -> None:  # fmt: skip
        """A short step. The first product holds what metal the others leave; with ``even`` each holds its share."""
        taken = self._taken(takes)
        outputs, losses = list(makes.values()), list(lose)
        air = taken[0] + sum(a.gross_mg for a in add) - sum(o.gross_mg for o in (*outputs, *losses))
        losses += [work.Lose(Cause.FUME, air)] if air else []
        parts = [*outputs, *losses]
        if even:
            for part, share in zip(parts, divide(taken[0], taken[1:], [one.gross_mg for one in parts]), strict=True):
                part.fine_mg.update(zip(METALS, share, strict=True))
        else:
            for mg, metal in zip(taken[1:], METALS, strict=True):
                outputs[0].fine_mg[metal] = mg - sum(one.fine_mg.get(metal, 0) for one in parts[1:])
        posted = work.record_step(
            kind=kind, inputs=[work.Take(self.lots[name], mg) for name, mg in takes.items()], outputs=outputs,
            additions=add, losses=tuple(losses), at=self.desk.clock.tick(40), by=self.desk.house.orrin,
            place=self.desk.house.places["HALL"],
            for_order=work.ForOrder(order, str(station)) if order else None,
        )  # fmt: skip
        self.lots |= dict(zip(makes, posted.lots, strict=True))

    def _taken(self, takes: Mapping[str, int | None]) -> list[int]:
        rows = []
        for name, part in takes.items():
            lot = self.lot(name)
            whole = part in (None, lot.gross_mg)
            rows.append(lot.columns_mg if whole else (part, *withdraw(lot.gross_mg, lot.metals_mg, part)))
        return [sum(column) for column in zip(*rows, strict=True)]

    def bar(self, of_type: str, serial: int, gross_mg: int) -> work.Make:
        """A bar of a type, with its serial."""
        return self.make(Form.BAR, gross_mg, serial=f"{serial:06d}", bar_type=of_type)

    def current(self, cell: Run, *readings: tuple[int, int]) -> None:
        """The current of a cell, milliamperes over hours."""
        for milliampere, hours in readings:
            began = self.desk.clock.tick(0)
            cells.keep_current(
                run=cell, from_at=began, to_at=began + timedelta(hours=hours), milliampere=milliampere,
                millivolt=960, at=self.desk.clock.tick(hours * 60), by=self.desk.house.orrin,
            )  # fmt: skip

    def charge(self, vessel: str, step: Kind, *names: str, add: int = 0, what: Addition = Addition.ACID,
               order: RouteOrder | None = None, station: Step | None = None) -> Run:  # fmt: skip
        """Lots and an addition go into a vessel."""
        place = Place.objects.get(code=vessel)
        runs.charge_vessel(
            into=Into(place, step), inputs=[work.Take(self.lots[name]) for name in names],
            additions=(work.Add(what, add),) if add else (), at=self.desk.clock.tick(50), by=self.desk.house.orrin,
            for_order=work.ForOrder(order, str(station)) if order else None,
        )  # fmt: skip
        return Run.objects.get(vessel=place, finished_by__isnull=True)

    def content(self, vessel: str) -> Lot:
        """What a vessel holds."""
        return Lot.objects.get(place__code=vessel, form=Form.IN_PROCESS, gross_mg__gt=0)

    def draw(self, vessel: str, name: str, made: work.Make) -> None:
        """A product is drawn from a vessel."""
        content = self.content(vessel)
        posted = runs.draw_from(
            kind=Kind.DRAW, content=content, take=work.Take(content.number, made.gross_mg, made.fine_mg),
            outputs=[made], at=self.desk.clock.tick(50), by=self.desk.house.orrin,
        )  # fmt: skip
        self.lots[name] = posted.lots[0]

    def finish(self, vessel: str, name: str, into: tuple[str, Kind] | None = None, **lost: int) -> None:
        """The liquor that is left runs on, or stands by itself; a little stays in the filter."""
        content = self.content(vessel)
        filtered = [work.Lose(Cause.FILTER, 2 * G, lost)] if lost else []
        left = {
            metal: mg - lost.get(metal, 0) for metal, mg in zip(METALS, content.metals_mg, strict=True)
        }  # fmt: skip
        gross = content.gross_mg - sum(one.gross_mg for one in filtered)
        posted = runs.draw_from(
            kind=Kind.FINISH, content=content, take=work.Take(content.number), losses=filtered,
            outputs=[work.Make(Form.SOLUTION, gross, left, place="HALL")],
            into={0: Into(Place.objects.get(code=into[0]), into[1])} if into else {},
            at=self.desk.clock.tick(60), by=self.desk.house.orrin,
        )  # fmt: skip
        self.lots[name] = posted.lots[0]

    def order(self, *names: str) -> RouteOrder:
        """The advised route to 999.9, ordered by the operator, with its sheet."""
        orrin, lots = self.desk.house.orrin, [self.lot(name) for name in names]
        at = self.desk.clock.tick(30)
        found = reckon(lots, [], wanted_ppm=999_900, settings=planner.settings_on(at.date()), viewer=orrin)
        made = order_route(
            lots=[lot.number for lot in lots], steps=found.advice.steps, wanted_ppm=999_900, at=at, by=orrin
        )
        issue_batch_sheet(order=made, at=at, by=orrin)
        return made


def work_the_plant(desk: Desk, mixed: str, silvery: str) -> None:
    """The week of the campaign: the direct route to bars in a box, the other one begun; water let go."""
    floor = Floor(desk)
    floor.lots |= {"mixed": mixed, "silvery": silvery}
    _treat_water(floor)
    desk.clock.morning(20)
    direct = floor.order("mixed")
    _to_sand(floor, direct)
    _to_cathodes(floor, direct)
    _to_bars(floor, direct)
    _begin_the_other(floor)


def _treat_water(floor: Floor) -> None:
    """The copper liquor of an earlier batch: caustic, cake, an accepted assay, and out within the permit."""
    desk = floor.desk
    desk.clock.morning(19)
    liquor = Lot.objects.filter(form=Form.SOLUTION, custodian=desk.house.orrin, gross_mg__gt=0).earliest("id")
    floor.lots["liquor"] = liquor.number
    floor.charge("TANK-2", Kind.NEUTRALISE, "liquor", add=30 * KG, what=Addition.REAGENT)
    held = floor.content("TANK-2")
    floor.draw("TANK-2", "cake", floor.make(Form.CAKE, 3 * KG, Au=held.au_mg, Ag=held.ag_mg, Cu=held.cu_mg - 60))
    floor.finish("TANK-2", "water")
    water = floor.lot("water")
    found = {"Au": 40, "Ag": 180, "Cu": 760, "Pb": 90}
    one = solutions.assay_solution(
        lot=water.number, volume_ml=water.gross_mg // 1_030, density_mg_ml=1_030, ph_centi=812,
        figures={metal: solutions.Found(ug, below=metal == "Au") for metal, ug in found.items()},
        method="ICP spectrometry", at=desk.clock.tick(120), by=desk.house.anouk,
    )  # fmt: skip
    solutions.accept_solution(assay=one, at=desk.clock.tick(20), by=desk.house.maren)
    water = floor.lot("water")
    work.record_step(
        kind=Kind.DISCHARGE, inputs=[work.Take(water.number)], outputs=[], at=desk.clock.tick(30), by=desk.house.orrin,
        losses=(work.Lose(Cause.EFFLUENT, water.gross_mg, dict(zip(METALS, water.metals_mg, strict=True))),),
    )  # fmt: skip


def _to_sand(floor: Floor, direct: RouteOrder) -> None:
    gross = floor.lot("mixed").gross_mg
    floor.step(
        Kind.GRANULATE, {"mixed": None}, {"granules": floor.make(Form.GRANULES, gross - 2_040)},
        lose=(work.Lose(Cause.LINING, 1_000, {"Au": 400, "Ag": 60}),), order=direct, station=Step.CRUST,
    )  # fmt: skip
    floor.charge("VESSEL-1", Kind.DISSOLVE, "granules", add=15 * KG, order=direct, station=Step.AQUA_REGIA)
    silver = floor.content("VESSEL-1").ag_mg * 99 // 100
    floor.draw("VESSEL-1", "crust", floor.make(Form.SILVER_CHLORIDE, _step(silver * 4 // 3), Ag=silver, Au=310))
    floor.finish("VESSEL-1", "gold liquor", into=("VESSEL-3", Kind.PRECIPITATE))
    floor.charge(
        "VESSEL-3", Kind.PRECIPITATE, add=9 * KG, what=Addition.REAGENT, order=direct, station=Step.PRECIPITATE
    )
    floor.desk.clock.morning(21)
    gold = floor.content("VESSEL-3").au_mg * 9_996 // 10_000
    floor.draw("VESSEL-3", "sand", floor.make(Form.GOLD_SAND, _step(gold * PPM // 999_500), Au=gold, Ag=200))
    floor.desk.assay(floor.lots["sand"], "fire assay by cupellation", Au=999_480, Ag=110)
    floor.finish("VESSEL-3", "barren", into=("TANK-1", Kind.CEMENT_COPPER), Au=400)


def _to_cathodes(floor: Floor, direct: RouteOrder) -> None:
    """Anodes, and a cell that runs on today: half of its gold is drawn as cathodes."""
    sand = floor.lot("sand").gross_mg
    floor.step(
        Kind.CAST_ANODES, {"sand": None}, {"anodes": floor.make(Form.ANODE, sand - 1_500)},
        lose=(work.Lose(Cause.LINING, 300, {"Au": 280}),), order=direct, station=Step.GOLD_CELL,
    )  # fmt: skip
    floor.desk.clock.morning(22)
    cell = floor.charge("CELL-1", Kind.ELECTROLYSE_GOLD, "anodes", add=12 * KG)
    floor.current(cell, (62_000, 6), (64_500, 5))
    floor.desk.clock.morning(23)
    grown = 1_860 * G
    floor.draw("CELL-1", "cathodes", floor.make(Form.CATHODE, grown, Au=grown - 60, Ag=20))
    floor.desk.assay(floor.lots["cathodes"], "emission spectrometry", Au=999_960, Ag=15)


def _to_bars(floor: Floor, direct: RouteOrder) -> None:
    """A kilobar cast, five bars of 100 g struck from strip; all but the kilobar in one sealed box in the cage."""
    desk = floor.desk
    cast = {"kilobar": floor.bar("AU-1000", 501, KG + 20), "rest": floor.make(Form.SKELETON, 30 * G)}
    floor.step(
        Kind.CAST, {"cathodes": KG + 30 * G + 120}, cast, lose=(work.Lose(Cause.SWEEPINGS, 100),), even=True,
        order=direct, station=Step.MELT,
    )  # fmt: skip
    left = floor.lot("cathodes").gross_mg
    floor.step(Kind.CAST_STRIP, {"cathodes": None}, {"strip": floor.make(Form.STRIP, left - 90)}, even=True)
    floor.step(Kind.ROLL, {"strip": None}, {"rolled": floor.make(Form.STRIP, left - 90)})
    blanks = 500 * G + 400
    floor.step(
        Kind.PUNCH, {"rolled": None},
        {"blanks": floor.make(Form.BLANK, blanks), "skeleton": floor.make(Form.SKELETON, left - 90 - blanks)},
        even=True,
    )  # fmt: skip
    floor.step(Kind.ANNEAL, {"blanks": None}, {"annealed": floor.make(Form.BLANK, blanks)})
    weights = [100 * G + over for over in (3, 7, 10, 14, 18)]
    floor.step(
        Kind.ADJUST, {"annealed": None},
        {
            "adjusted": floor.make(Form.BLANK, sum(weights)),
            "filings": floor.make(Form.FILINGS, blanks - sum(weights)),
        },
        even=True,
    )  # fmt: skip
    struck = {f"bar {n}": floor.bar("AU-100", n, weight) for n, weight in enumerate(weights, start=601)}
    floor.step(Kind.STAMP, {"adjusted": None}, struck, even=True)
    _into_the_cage(desk, [floor.lots["kilobar"], *(floor.lots[name] for name in struck)])


def _into_the_cage(desk: Desk, bars: list[str]) -> None:
    """Vesna and Maren open the cage, take the bars in, pack a box, count everything, and close it."""
    vesna, cage = desk.house.vesna, desk.house.places["CAGE"]
    second = Signature(desk.house.maren, "Opened together")
    opened = vault.open_vault(
        place=cage, second=second, purpose="New bars of the campaign", at=desk.clock.tick(30), by=vesna
    )
    desk.pass_on("vesna", "CAGE", *bars)
    boxes.pack_box(bars=bars[1:], seal="HF-0417", at=desk.clock.tick(10), by=vesna, note="Five bars of 100 g")
    signed = Signature(desk.house.maren, "Counted together")
    vault.count_stock(
        place=cage, found=dict.fromkeys(bars, ""), missing={}, second=signed, at=desk.clock.tick(15), by=vesna
    )
    vault.close_vault(access=opened, at=desk.clock.tick(5), by=vesna)


def _begin_the_other(floor: Floor) -> None:
    """The lot with much silver is quartered with silver of the house; its parting waits for today."""
    desk = floor.desk
    desk.clock.morning(24)
    quartering = floor.order("silvery")
    silver = Lot.objects.filter(form=Form.GRANULES, owner=None, au_mg=0, gross_mg__gt=0).earliest("id")
    floor.lots["house silver"] = silver.number
    if silver.custodian_id != desk.house.orrin.pk:
        desk.pass_on("orrin", "HALL", silver.number)
    added = min(quartering.silver_to_add_mg * PPM // 999_000 + 1, silver.gross_mg)
    together = floor.lot("silvery").gross_mg + added
    floor.step(
        Kind.INQUART, {"silvery": None, "house silver": added},
        {"quartered": floor.make(Form.GRANULES, _step(together - 2_000))},
        lose=(work.Lose(Cause.LINING, 500, {"Au": 90, "Ag": 300}),), order=quartering, station=Step.INQUART,
    )  # fmt: skip


def today(desk: Desk) -> None:
    """Yesterday's evening: the cell was read once more, and the copper tank's assay waits to be accepted."""
    floor = Floor(desk)
    cell = Run.objects.get(vessel__code="CELL-1", finished_by__isnull=True)
    floor.current(cell, (58_000, 3))
    tank = floor.content("TANK-1")
    figures = {
        "Au": solutions.Found(900), "Ag": solutions.Found(14_000),
        "Cu": solutions.Found(tank.cu_mg * 1_080_000 // tank.gross_mg * 1_000),
    }  # fmt: skip
    solutions.assay_solution(
        lot=tank.number, volume_ml=tank.gross_mg // 1_080, density_mg_ml=1_080, figures=figures, ph_centi=110,
        method="ICP spectrometry", at=desk.clock.tick(30), by=desk.house.anouk,
    )  # fmt: skip


def _step(mg: int) -> int:
    """To the 10 mg of the counter scale."""
    return -(-mg // 10) * 10
