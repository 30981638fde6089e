"""A whole campaign through the actions: three deliveries on two routes to bars, silver, copper, cake and clean water.

Mixed feed and jewellery go to aqua regia directly, with measures against the crust; a lot of 35 % silver is inquarted
with silver of the house and parted. Every figure is milligrams; every product was weighed. ``run()`` does it all.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.utils import timezone

from custody.actions import bar_types, cells, house, runs, solutions
from custody.actions.routes import order_route
from custody.actions.runs import Into
from custody.actions.weigh import Weighed
from custody.actions.work import Add, ForOrder, Lose, Make, Take, record_step
from custody.calc import scales as calc
from custody.calc.apportion import divide, withdraw
from custody.calc.route import Step
from custody.models import Lot, Place, RouteOrder, Run
from custody.queries import planner
from custody.queries.reckoning import reckon
from custody.terms import METALS, PPM, Addition, Basis, Cause, Form, Kind, PlaceKind
from tests import builders, people

G, KG = 1_000, 1_000_000
VESSELS = {"CELL-2": "Silver cell 1", "TANK-2": "Copper tank", "TANK-3": "Neutralising tank"}
#: Code, place and plate of scales beside those of the builders: bars to a milligram up to 3 kg, tanks to 50 g.
SCALES = {
    "MINT-1": ("Mint balance 1", "SHOP", calc.Scale(calc.Accuracy.I, 10, 3_200_000, 1_000)),
    "TANK-S": ("Tank scale", "SHOP", calc.Scale(calc.Accuracy.III, 50_000, 300_000_000)),
}
PARCELS = ("mixed", "silvery", "jewellery", "house silver")
#: What was delivered, milligrams, by the accepted assays: gross by fineness, worked out by hand. Of the jewellery it is
#: melt and slag: 2497 g of 585, 120 and 250 per mille, 26 g of 1.5, 2 and 40 per mille.
RECEIVED = {
    "Au": 3_000 * 780 + 2_000 * 600 + 2_497 * 585 + 39,
    "Ag": 3_000 * 140 + 2_000 * 350 + 2_497 * 120 + 52 + 5_000 * 999,
    "Cu": 3_000 * 60 + 2_000 * 30 + 2_497 * 250 + 1_040,
}
#: The permit of the invented house: µg/L, and hundredths of pH.
PERMIT = {"Au": (None, 500), "Ag": (None, 1_000), "Cu": (None, 2_000), "pH": (650, 900)}


@dataclass
class Campaign:
    """Lots by what they are called here, receipts, orders; and the clock, five days back."""

    at: datetime = field(default_factory=lambda: timezone.now() - timedelta(days=5))
    lots: dict[str, str] = field(default_factory=dict)
    orders: dict[str, RouteOrder] = field(default_factory=dict)
    readings: list[tuple[str, int]] = field(default_factory=list)

    # The clock, the book, the scales

    def tick(self, minutes: int = 20) -> datetime:
        """The next moment at which something is recorded; on a new day every scale is checked first."""
        self.at += timedelta(minutes=minutes)
        for code in (*SCALES, "BENCH-2", "FLOOR-1"):
            builders.scale(code, at=self.at)
        return self.at

    def lot(self, name: str) -> Lot:
        """A lot as the book has it now."""
        return builders.fresh(self.lots[name])

    def book(self, *names: str) -> dict[str, int]:
        """Gross and metals of lots together."""
        rows = [self.lot(name).columns_mg for name in names]
        return dict(zip(("gross", *METALS), map(sum, zip(*rows, strict=True)), strict=True))

    def weigh(self, mg: int) -> Weighed:
        """On the finest scale that carries it, checked that day."""
        steps = (("MINT-1", 3_200_000), ("BENCH-2", 6_200_000), ("FLOOR-1", 50_000_000), ("TANK-S", 300_000_000))
        code = next(code for code, most in steps if mg <= most)
        return Weighed(builders.scale(code, at=self.at).code, mg)

    # What is done

    def make(self, form: Form, gross_mg: int, place: str = "SHOP", **more) -> Make:
        """A product on the scale; metals among ``more``."""
        fine = {metal: more.pop(metal) for metal in METALS if metal in more}
        return Make(form, gross_mg, fine, place=place, weighed=self.weigh(gross_mg), **more)

    def bar(self, of_type: str, serial: int, gross_mg: int) -> Make:
        """A bar of a type, with its serial."""
        return self.make(Form.BAR, gross_mg, serial=f"A{serial:06d}", bar_type=of_type)

    def step(self, kind: Kind, takes: dict[str, int | None], makes: dict[str, Make], **more) -> None:
        """A short step: the first product holds what metals the others and the losses leave; gross goes as fume."""
        self.tick()
        inputs = [Take(self.lots[name], gross) for name, gross in takes.items()]
        taken = self._taken(takes)
        outputs, losses = self._closed(taken, makes, **more)
        posted = record_step(
            kind=kind, inputs=inputs, outputs=outputs, losses=losses, at=self.at, by=people.otto_operator(),
            place=builders.place("SHOP"), additions=more.get("add", ()), for_order=more.get("for_order"),
        )  # fmt: skip
        self.lots |= dict(zip(makes, posted.lots, strict=True))

    def _taken(self, takes: dict[str, int | None]) -> list[int]:
        rows = []
        for name, gross in takes.items():
            lot = self.lot(name)
            part = gross or lot.gross_mg
            metals = lot.metals_mg if part == lot.gross_mg else withdraw(lot.gross_mg, lot.metals_mg, part)
            rows.append((part, *metals))
        return [sum(column) for column in zip(*rows, strict=True)]

    def _closed(self, taken, makes, *, add=(), lose=(), air=Cause.FUME, unvalued=False, even=False, **_):
        """Products and losses that balance: what metal is left in the first product, what gross is left in the air.

        ``even`` is for metal worked cold, or cast: every piece of it holds the same.
        """
        outputs, losses = list(makes.values()), list(lose)
        gone = taken[0] + sum(one.gross_mg for one in add) - sum(one.gross_mg for one in (*outputs, *losses))
        assert gone >= 0, (gone, outputs)
        if gone:
            losses.append(Lose(air, gone))
        parts = [*outputs, *losses]
        if even:
            for part, share in zip(parts, divide(taken[0], taken[1:], [one.gross_mg for one in parts]), strict=True):
                part.fine_mg.update(zip(METALS, share, strict=True))
        elif not unvalued:
            for mg, metal in zip(taken[1:], METALS, strict=True):
                outputs[0].fine_mg[metal] = mg - sum(one.fine_mg.get(metal, 0) for one in parts[1:])
        return outputs, tuple(losses)

    def charge(self, vessel: str, step: Kind, *names: str, add: tuple[Add, ...] = (), **more) -> Run:
        """Lots and additions go into a vessel, with what is there."""
        self.tick()
        runs.charge_vessel(
            into=Into(_place(vessel), step), inputs=[Take(self.lots[name]) for name in names], additions=add,
            at=self.at, by=people.otto_operator(), **more,
        )  # fmt: skip
        return Run.objects.get(vessel__code=vessel, finished_by__isnull=True)

    def content(self, vessel: str) -> Lot:
        """What a vessel holds now."""
        return Lot.objects.get(place__code=vessel, form=Form.IN_PROCESS, gross_mg__gt=0)

    def draw(self, vessel: str, name: str, made: Make) -> None:
        """A product leaves a run with its weighed gross and provisional metals."""
        self.tick()
        content = self.content(vessel)
        posted = runs.draw_from(
            kind=Kind.DRAW, content=content, take=Take(content.number, made.gross_mg, made.fine_mg), outputs=[made],
            at=self.at, by=people.otto_operator(),
        )  # fmt: skip
        self.lots[name] = posted.lots[0]

    def finish(self, vessel: str, name: str, *, lose: tuple[Lose, ...] = (), air: int = 0, into=None) -> None:
        """What is left is a liquor: it runs on into a vessel, or stands in a tub by itself."""
        self.tick()
        content = self.content(vessel)
        lost = [*lose, *((Lose(Cause.FUME, air),) if air else ())]
        gross = content.gross_mg - sum(one.gross_mg for one in lost)
        fine = {
            metal: mg - sum(one.fine_mg.get(metal, 0) for one in lost)
            for metal, mg in zip(METALS, content.metals_mg, strict=True)
        }
        onward = {0: Into(_place(into[0]), into[1])} if into else {}
        posted = runs.draw_from(
            kind=Kind.FINISH, content=content, take=Take(content.number), losses=lost, into=onward,
            outputs=[Make(Form.SOLUTION, gross, fine, place="SHOP")], at=self.at, by=people.otto_operator(),
        )  # fmt: skip
        self.lots[name] = posted.lots[0]

    def assayed(self, name: str, **ppm: int) -> None:
        """An assay accepted by another person gives the lot its metal."""
        self.tick()
        builders.valued(self.lot(name), at=self.at, **ppm)

    def on(self, order: str, station: Step) -> dict:
        """Which order a step is work on."""
        return {"for_order": ForOrder(self.orders[order], str(station))}


def _place(code: str) -> Place:
    return Place.objects.get(code=code)


def run() -> Campaign:
    """The whole campaign."""
    now = Campaign()
    lay_out(now)
    deliveries(now)
    _direct(now)
    _inquarted(now)
    _gold(now)
    _bars(now)
    _silver(now)
    _copper_and_water(now)
    _recycling(now)
    return now


def lay_out(now: Campaign) -> None:
    """Places, scales, bar types, serials of the year and the permit."""
    builders.SCALES.update(SCALES)
    builders.places()
    mona = people.mona_manager()
    for code, name in VESSELS.items():
        house.add_place(code=code, name=name, kind=PlaceKind.VESSEL, by=mona)
    bar_types.lay_usual_bar_types(by=mona)
    bar_types.set_aside_serials(
        mark="HFR", year=now.at.year, head="A", width=6, first=1, last=999, at=now.at, by=mona
    )  # fmt: skip
    solutions.set_effluent_limits(
        valid_from=timezone.localdate(now.at), limits=PERMIT, note="Permit", at=now.at, by=mona
    )


def deliveries(now: Campaign) -> None:
    """Three deliveries of three parties, and silver of the house; jewellery is melted first."""
    came = {
        "mixed": (3_000 * G, "P-01", Basis.TOLL, {"form": Form.DORE}),
        "silvery": (2_000 * G, "P-03", Basis.TOLL, {"form": Form.DORE}),
        "jewellery": (2_500 * G, "P-02", Basis.TOLL, {"form": Form.JEWELLERY, "mine": ""}),
        "house silver": (5_000 * G, "P-03", Basis.PURCHASE, {"form": Form.GRANULES}),
    }
    otto = people.otto_operator()
    for name, (gross, party, basis, said) in came.items():
        (lot,) = builders.received(
            builders.parcel(gross, **said), of=people.party(party), basis=basis, at=now.tick(), delivered_by="A driver"
        )
        now.lots[name] = lot.number
        builders.released(lot, at=now.tick())
        builders.handed_over(now.lot(name), otto, "SHOP", weighed_mg=gross, at=now.tick())
    melt = {
        "melt": now.make(Form.MELT, 2_497 * G),
        "slag": now.make(Form.SLAG, 26 * G),
    }
    now.step(
        Kind.MELT, {"jewellery": None}, melt, add=(Add(Addition.FLUX, 25 * G),), unvalued=True, air=Cause.FUME
    )  # fmt: skip
    now.assayed("mixed", Au=780_000, Ag=140_000, Cu=60_000)
    now.assayed("silvery", Au=600_000, Ag=350_000, Cu=30_000)
    now.assayed("melt", Au=585_000, Ag=120_000, Cu=250_000)
    now.assayed("slag", Au=1_500, Ag=2_000, Cu=40_000)
    now.assayed("house silver", Ag=999_000)


def _order(now: Campaign, name: str, *lots: str) -> None:
    """The advised route is ordered by name."""
    otto = people.otto_operator()
    named = [now.lot(lot) for lot in lots]
    found = reckon(
        named, [], wanted_ppm=999_900, settings=planner.settings_on(timezone.localdate(now.at)), viewer=otto
    )  # fmt: skip
    now.orders[name] = order_route(
        lots=[lot.number for lot in named], steps=found.advice.steps, wanted_ppm=999_900, at=now.tick(), by=otto
    )


def _direct(now: Campaign) -> None:
    """Aqua regia with measures against the crust, and precipitation."""
    _order(now, "direct", "mixed", "melt")
    gross = now.book("mixed", "melt")["gross"]
    now.step(
        Kind.GRANULATE, {"mixed": None, "melt": None}, {"granules": now.make(Form.GRANULES, gross - 4 * G)},
        lose=(Lose(Cause.LINING, 2 * G, {"Au": 600, "Ag": 80, "Cu": 90}),), **now.on("direct", Step.CRUST),
    )  # fmt: skip
    book = now.book("granules")
    now.charge(
        "VESSEL-1", Kind.DISSOLVE, "granules", add=(Add(Addition.ACID, 24 * KG),), **now.on("direct", Step.AQUA_REGIA)
    )  # fmt: skip
    silver = book["Ag"] * 992 // 1000
    now.draw("VESSEL-1", "crust", now.make(Form.SILVER_CHLORIDE, _wet(silver * 1_328_642 // PPM), Ag=silver, Au=420))
    now.draw("VESSEL-1", "undissolved", now.make(Form.RESIDUE, 9 * G, Au=4_100, Ag=2_600, Cu=300))
    now.finish("VESSEL-1", "gold liquor", air=2 * KG, into=("VESSEL-2", Kind.PRECIPITATE))
    liquor = now.content("VESSEL-2").au_mg
    now.charge(
        "VESSEL-2", Kind.PRECIPITATE, add=(Add(Addition.REAGENT, 4 * KG), Add(Addition.WATER, 6 * KG)),
        **now.on("direct", Step.PRECIPITATE),
    )  # fmt: skip
    gold = liquor * 9_996 // 10_000
    now.draw("VESSEL-2", "sand", now.make(Form.GOLD_SAND, _wet(gold * PPM // 999_500), Au=gold, Ag=300, Cu=200))
    now.assayed("sand", Au=999_480, Ag=120, Cu=60)
    left = now.content("VESSEL-2").au_mg
    now.finish(
        "VESSEL-2", "barren", lose=(Lose(Cause.FILTER, 2 * G, {"Au": left * 9 // 10}),), air=KG,
        into=("TANK-2", Kind.CEMENT_COPPER),
    )  # fmt: skip


def _wet(mg: int) -> int:
    """To the step of the coarser scale: 10 mg."""
    return -(-mg // 10) * 10


def _inquarted(now: Campaign) -> None:
    """Silver of the house is melted in, nitric acid parts it, aqua regia dissolves the brown gold."""
    _order(now, "inquarted", "silvery")
    added = now.orders["inquarted"].silver_to_add_mg * PPM // 999_000 + 1
    gross = now.book("silvery")["gross"] + added
    now.step(
        Kind.INQUART, {"silvery": None, "house silver": added},
        {"quartered": now.make(Form.GRANULES, _wet(gross - 3 * G) - 10)},
        lose=(Lose(Cause.LINING, 2 * G, {"Au": 350, "Ag": 900}),), **now.on("inquarted", Step.INQUART),
    )  # fmt: skip
    book = now.book("quartered")
    now.charge(
        "VESSEL-1", Kind.PART, "quartered", add=(Add(Addition.ACID, 6 * KG), Add(Addition.WATER, 9 * KG)),
        **now.on("inquarted", Step.PART),
    )  # fmt: skip
    gold = book["Au"] - 300
    now.draw("VESSEL-1", "brown gold", now.make(Form.RESIDUE, _wet(gold + 9 * G), Au=gold, Ag=4_200))
    now.finish("VESSEL-1", "nitrate", air=900 * G, into=("TANK-1", Kind.FILTER))
    now.charge("TANK-1", Kind.FILTER, add=(Add(Addition.REAGENT, 2 * KG),))
    silver = now.content("TANK-1").ag_mg - 900
    now.draw("TANK-1", "chloride", now.make(Form.SILVER_CHLORIDE, _wet(silver * 1_328_642 // PPM), Ag=silver, Au=150))
    now.finish("TANK-1", "copper nitrate", into=("TANK-2", Kind.CEMENT_COPPER))
    now.step(
        Kind.DISSOLVE, {"brown gold": None, "undissolved": None},
        {
            "second liquor": now.make(Form.SOLUTION, 6_500 * G),
            "second chloride": now.make(Form.SILVER_CHLORIDE, 9 * G, Ag=6_400, Au=60),
        },
        add=(Add(Addition.ACID, 5_500 * G),), **now.on("inquarted", Step.AQUA_REGIA),
    )  # fmt: skip
    gold = now.book("second liquor")["Au"] - 500
    now.step(
        Kind.PRECIPITATE, {"second liquor": None},
        {
            "second barren": now.make(Form.SOLUTION, 8_000 * G),
            "second sand": now.make(Form.GOLD_SAND, _wet(gold * PPM // 999_500), Au=gold, Ag=150, Cu=60),
        },
        add=(Add(Addition.REAGENT, 1_200 * G), Add(Addition.WATER, 2 * KG)), **now.on("inquarted", Step.PRECIPITATE),
    )  # fmt: skip
    now.charge("TANK-2", Kind.CEMENT_COPPER, "second barren")


def _gold(now: Campaign) -> None:
    """Anodes of 999.5 from both sands, a gold cell under current, cathodes of 999.9."""
    gross = now.book("sand", "second sand")["gross"] - 300 * G
    now.step(
        Kind.CAST_ANODES, {"sand": None, "second sand": now.book("second sand")["gross"] - 300 * G},
        {"anodes": now.make(Form.ANODE, _wet(gross - 2 * G)), "anode slag": now.make(Form.SLAG, 20 * G, Au=800, Ag=20)},
        add=(Add(Addition.FLUX, 20 * G),), **now.on("direct", Step.GOLD_CELL),
    )  # fmt: skip
    opened = now.charge("CELL-1", Kind.ELECTROLYSE_GOLD, "anodes", "second sand", add=(Add(Addition.ACID, 6 * KG),))
    _current(now, opened, (132_000, 6), (144_000, 6))
    anodes = now.book("anodes")["gross"] or now.content("CELL-1").au_mg
    deposited = _wet(4_000 * G) if anodes else 0
    now.draw("CELL-1", "cathodes", now.make(Form.CATHODE, deposited, Au=deposited - 120, Ag=60))
    now.draw("CELL-1", "slimes", now.make(Form.SLIMES, 3 * G, Au=700, Ag=450))
    scrap = _wet(now.content("CELL-1").au_mg - 320 * G)
    now.draw("CELL-1", "anode scrap", now.make(Form.ANODE, scrap, Au=scrap * 9_994 // 10_000, Ag=60))
    now.assayed("cathodes", Au=999_960, Ag=20)


def _current(now: Campaign, opened: Run, *readings: tuple[int, int]) -> None:
    """The current of a cell over hours, read twice."""
    for milliampere, hours in readings:
        began = now.at
        cells.keep_current(
            run=opened, from_at=began, to_at=began + timedelta(hours=hours), milliampere=milliampere,
            millivolt=900, at=now.tick(hours * 60), by=people.otto_operator(),
        )  # fmt: skip
        now.readings.append((opened.number, milliampere * hours))


def _bars(now: Campaign) -> None:
    """Three kilobars cast singly; five bars of 100 g from strip: rolled, punched, annealed, adjusted, stamped."""
    cathodes = now.book("cathodes")["gross"]
    kilos = {f"kilobar {n}": now.bar("AU-1000", n, KG + n * 10) for n in (1, 2, 3)}
    part = sum(one.gross_mg for one in kilos.values()) + 40 * G
    rest = {"rest of the cast": now.make(Form.SKELETON, 40 * G - 150)}
    now.step(Kind.CAST, {"cathodes": part}, rest | kilos, lose=(Lose(Cause.SWEEPINGS, 150),), even=True)
    now.step(
        Kind.CAST_STRIP, {"cathodes": None}, {"strip": now.make(Form.STRIP, cathodes - part - 120)},
        lose=(Lose(Cause.LINING, 120),), even=True, **now.on("direct", Step.MELT),
    )  # fmt: skip
    strip = now.book("strip")["gross"]
    now.step(Kind.ROLL, {"strip": None}, {"rolled": now.make(Form.STRIP, strip)})
    blanks = 500 * G + 600
    punched = {"blanks": now.make(Form.BLANK, blanks), "skeleton": now.make(Form.SKELETON, strip - blanks)}
    now.step(Kind.PUNCH, {"rolled": None}, punched, even=True)
    now.step(Kind.ANNEAL, {"blanks": None}, {"annealed": now.make(Form.BLANK, blanks)})
    weights = [100 * G + over for over in (4, 8, 12, 16, 20)]
    adjusted = {
        "adjusted": now.make(Form.BLANK, sum(weights)),
        "filings": now.make(Form.FILINGS, blanks - sum(weights)),
    }
    now.step(Kind.ADJUST, {"annealed": None}, adjusted, even=True)
    struck = {f"bar {n}": now.bar("AU-100", n, weight) for n, weight in enumerate(weights, start=11)}
    now.step(Kind.STAMP, {"adjusted": None}, struck, even=True)


def _silver(now: Campaign) -> None:
    """Chloride by caustic and glucose to silver, anodes, a silver cell, and a silver bar."""
    silver = now.book("crust", "chloride", "second chloride")["Ag"]
    gross = now.book("crust", "chloride", "second chloride")["gross"]
    now.step(
        Kind.CEMENT_SILVER, {"crust": None, "chloride": None, "second chloride": None},
        {
            "silver sand": now.make(Form.SILVER_SAND, _wet(silver + 4 * G)),
            "sugar liquor": now.make(Form.SOLUTION, -(-(gross + 4 * KG) // (5 * G)) * 5 * G, Ag=700, Cu=0),
        },
        add=(Add(Addition.REAGENT, 5 * KG), Add(Addition.WATER, 6 * KG)),
    )  # fmt: skip
    sand = now.book("silver sand")
    now.assayed("silver sand", Ag=998_900, Au=sand["Au"] * PPM // sand["gross"])
    now.charge("TANK-2", Kind.CEMENT_COPPER, "sugar liquor")
    gross = now.book("silver sand")["gross"]
    now.step(
        Kind.CAST_ANODES, {"silver sand": gross - 400 * G},
        {
            "silver anodes": now.make(Form.ANODE, _wet(gross - 402 * G)),
            "silver slag": now.make(Form.SLAG, 8 * G, Ag=900),
        },
        add=(Add(Addition.FLUX, 8 * G),),
    )  # fmt: skip
    opened = now.charge(
        "CELL-2", Kind.ELECTROLYSE_SILVER, "silver anodes", "silver sand", add=(Add(Addition.ACID, 5 * KG),)
    )
    _current(now, opened, (90_000, 6), (88_000, 4))
    grown = 3_400 * G
    now.draw("CELL-2", "crystals", now.make(Form.CATHODE, grown, Ag=grown - 500))
    now.draw("CELL-2", "silver slimes", now.make(Form.SLIMES, 4 * G, Au=600, Ag=2_900))
    now.assayed("crystals", Ag=999_870)
    weight = KG + 120
    bars = {f"silver bar {n}": now.bar("AG-1000", 100 + n, weight) for n in (1, 2, 3)}
    rest = {"silver rest": now.make(Form.SKELETON, _wet(now.book("crystals")["gross"] - 3 * weight - 300))}
    now.step(Kind.CAST, {"crystals": None}, rest | bars, even=True)


def _copper_and_water(now: Campaign) -> None:
    """Copper falls on iron, the rest with caustic as cake; the water is assayed, accepted and let go within limits."""
    now.charge("TANK-2", Kind.CEMENT_COPPER, add=(Add(Addition.REAGENT, 3 * KG),))
    held = now.content("TANK-2")
    copper = held.cu_mg * 985 // 1000
    now.draw("TANK-2", "cement copper", now.make(
        Form.CEMENT_COPPER, _wet(copper * 10 // 9), Cu=copper, Ag=held.ag_mg - 600, Au=held.au_mg - 40
    ))  # fmt: skip
    now.finish("TANK-2", "iron liquor", into=("TANK-3", Kind.NEUTRALISE))
    now.charge("TANK-3", Kind.NEUTRALISE, add=(Add(Addition.REAGENT, 6 * KG), Add(Addition.WATER, 12 * KG)))
    held = now.content("TANK-3")
    now.draw("TANK-3", "cake", now.make(
        Form.CAKE, 5 * KG, Au=held.au_mg - 3, Ag=held.ag_mg - 12, Cu=held.cu_mg - 50, place="SHOP"
    ))  # fmt: skip
    now.finish("TANK-3", "water")
    water = now.lot("water")
    figures = {"Au": solutions.Found(30, below=True), "Ag": solutions.Found(210), "Cu": solutions.Found(900)}
    found = solutions.assay_solution(
        lot=water.number, volume_ml=water.gross_mg // 1_020, density_mg_ml=1_020, figures=figures, ph_centi=810,
        method="ICP spectrometry", at=now.tick(), by=people.anna_assayer(),
    )  # fmt: skip
    solutions.accept_solution(assay=found, at=now.tick(), by=people.ada_assayer())
    water = now.lot("water")
    record_step(
        kind=Kind.DISCHARGE, inputs=[Take(water.number)], outputs=[], at=now.tick(), by=people.otto_operator(),
        losses=(Lose(Cause.EFFLUENT, water.gross_mg, dict(zip(METALS, water.metals_mg, strict=True))),),
    )  # fmt: skip


def _recycling(now: Campaign) -> None:
    """Slag, skeletons, filings and slimes go back to a melt; what a clean-out of the furnace gathers is a lot again."""
    back = ("slag", "anode slag", "rest of the cast", "skeleton", "filings", "slimes", "anode scrap", "silver slimes")
    book = now.book(*back)
    melt = _wet(sum(book[metal] for metal in METALS) + 200)
    slag = _wet(book["gross"] + 10 * G - melt - 500)
    now.step(
        Kind.RECYCLE, dict.fromkeys(back),
        {
            "recycled": now.make(Form.MELT, melt),
            "last slag": now.make(Form.SLAG, slag, Au=90),
        },
        add=(Add(Addition.FLUX, 10 * G),),
    )  # fmt: skip
    posted = record_step(
        kind=Kind.CLEAN_OUT, inputs=[], outputs=[Make(Form.LINING, 800, weighed=now.weigh(800))],
        losses=(Lose(Cause.LINING, -800),), place=builders.place("SHOP"), at=now.tick(), by=people.otto_operator(),
    )  # fmt: skip
    now.lots["lining"] = posted.lots[0]
    now.assayed("lining", Au=700_000, Ag=200_000)
