"""Four weeks at the invented refinery: doré, nuggets, jewellery, bought silver, residues, bars and what is owed."""

from datetime import datetime
from decimal import Decimal

from custody.actions import exchanges, move, receive, settle, work
from custody.actions._sign import Signature
from custody.calc.exchange import UmpireRule
from custody.calc.fineness import fine_mg
from custody.calc.purchase import amount
from custody.calc.rates import Unit
from custody.errors import CountersignatureNeeded
from custody.management.demo import bench, plant
from custody.management.demo.cast import House
from custody.management.demo.desk import Clock, Desk, G, bars
from custody.models import Bar, Lot, Operation, Run
from custody.queries.settling import Price
from custody.terms import (
    Addition,
    Against,
    Basis,
    Category,
    Cause,
    Clearance,
    Form,
    IdentityKind,
    Kind,
    Method,
    Outturn,
    Payment,
)

#: How many days before today the story begins; it ends in time for today's work.
DAYS = 27
CUPELLATION = "fire assay by cupellation"


def play(house: House, now: datetime) -> None:
    """Plays the whole story."""
    desk = Desk(house, Clock(now, DAYS))
    desk.clock.morning(0)
    plant.lay_out(desk)
    first_week(desk)
    sand, rest = first_batch(desk)
    cast_first_bars(desk, sand)
    second_batch(desk, rest)
    settle_up(desk)
    plant.work_the_plant(desk, *feed_of_the_campaign(desk))
    open_work(desk)
    plant.today(desk)


def first_week(desk: Desk) -> None:
    """Receipts, melts on receipt, samples, assays, clearance."""
    desk.clock.morning(0)
    nuggets = desk.take_in(
        "P-01", Basis.TOLL, Category.MINED_SMALL,
        (Form.NUGGETS, 1_243_600, 18_200, "CA", "Tern Creek", 850_000, 1, "placer nuggets, bag 1"),
        (Form.NUGGETS, 880_150, 18_150, "CA", "Tern Creek", 850_000, 1, "placer nuggets, bag 2"),
        delivered_by="Noor Tern",
    )  # fmt: skip
    receive_and_value(desk, nuggets.lots, flux=21_000, slag=24_300, fume=1_150, Au=842_300, Ag=121_000, Cu=21_500)
    desk.clock.morning(1)
    dore = desk.take_in(
        "P-03", Basis.TOLL, Category.MINED_LARGE,
        (Form.DORE, 4_512_300, 0, "GH", "Greywater pit 2", 872_000, 1, "doré bar 118"),
        (Form.DORE, 4_498_700, 0, "GH", "Greywater pit 2", 872_000, 1, "doré bar 119"),
        delivered_by="Secured carrier, two persons",
    )  # fmt: skip
    receive_and_value(desk, dore.lots, flux=60_000, slag=63_400, fume=2_900, Au=871_200, Ag=98_400, Cu=19_700)
    desk.clock.morning(2)
    scrap = desk.take_in(
        "P-02", Basis.TOLL, Category.RECYCLED,
        (Form.JEWELLERY, 1_985_420, 45_300, "GB", "", 750_000, 214, "mixed 18 karat, some stones"),
        delivered_by="Piet Kestrel",
    )  # fmt: skip
    receive_and_value(desk, scrap.lots, flux=30_000, slag=49_800, fume=3_400, Au=722_900, Ag=118_600, Cu=147_300)
    desk.clock.morning(3)
    silver = desk.take_in(
        "P-04", Basis.PURCHASE, Category.RECYCLED,
        (Form.GRANULES, 3_000_000, 60_000, "NO", "", 0, 1, "silver granules 999"),
        delivered_by="Lowmoor's van",
    )  # fmt: skip
    desk.pass_on("silas", "STRONG", *silver.lots)
    sample = desk.sample(silver.lots[0], 3)
    desk.assay(silver.lots[0], "titration with sodium chloride", sample, Ag=999_100)
    desk.clear(Clearance.RELEASED, "Invoice and origin statement checked", *silver.lots)
    held = desk.take_in(
        "P-05", Basis.TOLL, Category.RECYCLED,
        (Form.COIN, 640_200, 12_000, "NL", "", 900_000, 81, "worn coins"),
        delivered_by="Counter customer for Saltmarsh",
    )  # fmt: skip
    desk.clear(Clearance.HELD, "No document shows where these coins come from; asked on the same day", *held.lots)


def receive_and_value(desk: Desk, parcels: tuple, *, flux: int, slag: int, fume: int, **ppm: int) -> str:
    """From the counter to a valued, released melt in the operator's hands."""
    desk.pass_on("silas", "FURNACE-1", *parcels)
    melt, dross = desk.melt(list(parcels), flux, slag, fume)
    sample = desk.sample(melt)
    bench.consume(desk, sample, 1 * G)
    bench.accept(desk, bench.fire_assay(desk, melt, sample, **ppm))
    desk.assay(dross, "fire assay, crucible fusion", Au=1_900, Ag=2_400)
    desk.clear(Clearance.RELEASED, "Supplier file complete, origin statement on file", melt, dross)
    desk.pass_on("orrin", "HALL", melt, dross)
    return melt


def mine(desk: Desk, *forms: Form) -> list[str]:
    """Released and valued lots of these forms in the operator's hands, in the order made."""
    lots = Lot.objects.filter(
        custodian=desk.house.orrin, form__in=forms, gross_mg__gt=0, valued=True, clearance=Clearance.RELEASED
    )
    return list(lots.values_list("number", flat=True))


def first_batch(desk: Desk) -> tuple[str, list[str]]:
    """A dissolution as a run: charged, drawn over two days, finished. Two owners' metal becomes pooled."""
    desk.clock.morning(6)
    lots = mine(desk, Form.MELT)[:2]
    book = desk.book(*lots)
    acid = 42_000 * G
    work.record_step(
        kind=Kind.CHARGE,
        step=Kind.DISSOLVE,
        inputs=[work.Take(lot) for lot in lots],
        additions=(work.Add(Addition.ACID, acid),),
        outputs=[
            work.Make(
                Form.IN_PROCESS,
                book["gross"] + acid,
                {metal: book[metal] for metal in ("Au", "Ag", "Cu")},
                vessel="VESSEL-1",
            )
        ],
        at=desk.clock.tick(40),
        by=desk.house.orrin,
    )
    desk.clock.morning(7)
    sand_au = book["Au"] * 9885 // 10_000
    sand = draw(desk, Form.GOLD_SAND, sand_au * 1_000_000 // 998_600, Au=sand_au, Ag=book["Ag"] * 2 // 1000)
    desk.assay(sand, CUPELLATION, Au=998_450, Ag=1_200)
    chloride_ag = desk.book(content_of(desk).number)["Ag"] * 983 // 1000
    chloride = draw(desk, Form.SILVER_CHLORIDE, chloride_ag * 4 // 3, Ag=chloride_ag, Au=410)
    left = desk.book(content_of(desk).number)
    residue_au = left["Au"] * 88 // 100
    residue = draw(desk, Form.RESIDUE, residue_au * 3, Au=residue_au, Ag=left["Ag"] * 70 // 100)
    finish(desk)
    return sand, [chloride, residue]


def content_of(desk: Desk) -> Lot:
    return Run.objects.get(finished_by__isnull=True, vessel__code="VESSEL-1").content


def draw(desk: Desk, form: Form, gross: int, **fine: int) -> str:
    """A product leaves the vessel with its weighed gross and provisional metals."""
    posted = work.record_step(
        kind=Kind.DRAW,
        inputs=[work.Take(content_of(desk).number, gross, fine)],
        outputs=[work.Make(form, gross, fine, place="HALL")],
        at=desk.clock.tick(50),
        by=desk.house.orrin,
    )
    return posted.lots[0]


def finish(desk: Desk) -> None:
    """What the book still holds is declared: fume, the filter, and the copper solution that goes on."""
    content = content_of(desk)
    left = desk.book(content.number)
    fume, filtered = left["gross"] // 100, 85_000
    copper = left["Cu"] * 95 // 100
    work.record_step(
        kind=Kind.FINISH,
        inputs=[work.Take(content.number)],
        outputs=[work.Make(Form.SOLUTION, left["gross"] - fume - filtered, {"Cu": copper}, place="HALL")],
        losses=(
            work.Lose(Cause.FUME, fume),
            work.Lose(Cause.FILTER, filtered, {"Au": left["Au"], "Ag": left["Ag"], "Cu": left["Cu"] - copper}),
        ),
        reason="The filter was washed once only, and burnt",
        at=desk.clock.tick(60),
        by=desk.house.orrin,
    )


def cast(desk: Desk, sand: str, made: list[work.Make], loss: int = 40, **more) -> tuple[str, ...]:
    """Bars and a skeleton that returns to stock; a little is swept up later."""
    book = desk.book(sand)
    rest = {metal: book[metal] - sum(bar.fine_mg.get(metal, 0) for bar in made) for metal in ("Au", "Ag", "Cu")}
    rest["Au"] -= loss
    skeleton = work.Make(Form.SKELETON, book["gross"] - sum(bar.gross_mg for bar in made) - loss, rest, place="MINT")
    posted = work.record_step(
        kind=Kind.CAST,
        inputs=[work.Take(sand)],
        outputs=[*made, skeleton],
        losses=(work.Lose(Cause.SWEEPINGS if loss < G else Cause.SPILL, loss, {"Au": loss}),),
        at=desk.clock.tick(90),
        by=desk.house.orrin,
        place=desk.house.places["MINT"],
        **more,
    )
    return posted.lots


def cast_first_bars(desk: Desk, sand: str) -> None:
    """One sand becomes bars; the first record had a bar too many, is reversed and recorded again."""
    desk.clock.morning(9)
    sizes = ((6, 1000), (3, 500), (5, 100))
    wrong = cast(desk, sand, bars(1, *sizes, ppm=998_450, silver_ppm=1_200))
    operation = Lot.objects.get(number=wrong[0]).created_by
    work.reverse(
        operation=operation,
        reason="Bar 000009 was weighed twice and recorded as 500 g; it is 250 g",
        at=desk.clock.tick(25),
        by=desk.house.orrin,
    )
    right = [
        work.Make(
            bar.form,
            bar.gross_mg if bar.serial != "000009" else 250 * G,
            bar.fine_mg if bar.serial != "000009" else {"Au": fine_mg(250 * G, 998_450), "Ag": fine_mg(250 * G, 1_200)},
            serial=bar.serial,
            replaces=number,
        )
        for bar, number in zip(bars(1, *sizes, ppm=998_450, silver_ppm=1_200), wrong, strict=False)
    ]
    lots = cast(desk, sand, right)
    desk.pass_on("vesna", "VAULT", *lots[:-1])


def second_batch(desk: Desk, rest: list[str]) -> None:
    """Jewellery with residues and slags of earlier batches; small bars; a spill past the tolerance."""
    desk.clock.morning(13)
    lots = [*mine(desk, Form.MELT), *mine(desk, Form.SLAG), rest[1]]
    book = desk.book(*lots)
    acid = 9_500 * G
    sand = {"Au": book["Au"] * 990 // 1000, "Ag": book["Ag"] * 3 // 1000}
    chloride = {"Ag": book["Ag"] * 975 // 1000, "Au": 230}
    residue = {"Au": book["Au"] * 8 // 1000, "Ag": book["Ag"] * 15 // 1000}
    solution = {"Cu": book["Cu"] * 96 // 100}
    grosses = [sand["Au"] * 1_000_000 // 997_900, chloride["Ag"] * 4 // 3, residue["Au"] * 4]
    filtered, fume = 41_000, acid // 120
    out = [sand, chloride, residue, solution]
    posted = work.record_step(
        kind=Kind.DISSOLVE,
        inputs=[work.Take(lot) for lot in lots],
        additions=(work.Add(Addition.ACID, acid),),
        outputs=[
            work.Make(Form.GOLD_SAND, grosses[0], sand),
            work.Make(Form.SILVER_CHLORIDE, grosses[1], chloride),
            work.Make(Form.RESIDUE, grosses[2], residue),
            work.Make(Form.SOLUTION, book["gross"] + acid - sum(grosses) - filtered - fume, solution),
        ],
        losses=(
            work.Lose(Cause.FUME, fume),
            work.Lose(
                Cause.FILTER,
                filtered,
                {metal: book[metal] - sum(made.get(metal, 0) for made in out) for metal in ("Au", "Ag", "Cu")},
            ),
        ),
        at=desk.clock.tick(480),
        by=desk.house.orrin,
        place=desk.house.places["HALL"],
        reason="Old slags hold silver that no acid reaches; their mud stayed on the filter",
    )
    desk.clock.morning(15)
    small = bars(101, (20, 10), (10, 20), (4, 50), (3, 100), ppm=997_800, silver_ppm=300)
    try:
        cast(desk, posted.lots[0], small, loss=6_420)
    except CountersignatureNeeded:
        lots = cast(
            desk,
            posted.lots[0],
            small,
            loss=6_420,
            reason="Crucible cracked while pouring; floor swept, sweepings kept for recovery",
            countersign=Signature(desk.house.maren, "I saw the cracked crucible and the swept floor"),
        )
    desk.pass_on("vesna", "VAULT", *lots[:-1])


def settle_up(desk: Desk) -> None:
    """One receipt settled in money, one in metal; bars leave against the claim."""
    desk.clock.morning(17)
    desk.settled = []
    receipts = {receipt.party.code: receipt for receipt in Operation.objects.filter(kind=Kind.RECEIVE)}
    prices = {
        "Au": Price(Decimal("2412.50"), Unit.TROY_OUNCE, "invented fixing, morning of the settlement day"),
        "Ag": Price(Decimal("28.3150"), Unit.TROY_OUNCE, "invented fixing, noon of the settlement day"),
    }
    for code, outturn in (("P-01", Outturn.MONEY), ("P-03", Outturn.METAL)):
        at = desk.clock.tick(30)
        settle.settle_receipt(
            receipt=receipts[code],
            outturn=outturn,
            prices=prices if outturn == Outturn.MONEY else {},
            day=at.date(),
            approval=Signature(desk.house.maren, "Checked against assays and terms"),
            by=desk.house.malik,
            at=at,
        )
    leaving = Bar.objects.filter(cancelled_by__isnull=True, lot__gross_mg=1000 * G).order_by("id")[:4]
    move.dispatch(
        lots=[bar.lot.number for bar in leaving],
        party=desk.house.parties["P-03"],
        at=desk.clock.tick(60),
        by=desk.house.vesna,
        against=Against.CLAIM,
        collected=move.Collected("Order of the mine, by letter", "Edda Rook", IdentityKind.PASSPORT, "N 4410972"),
        reason="Part of the metal due, by secured carrier",
    )


def feed_of_the_campaign(desk: Desk) -> tuple[str, str]:
    """Two deliveries for the plant: doré with 14 % of silver, and a bar with 35 %. Gives their melts."""
    desk.clock.morning(18)
    mixed = desk.take_in(
        "P-03", Basis.TOLL, Category.MINED_LARGE,
        (Form.DORE, 3_812_400, 0, "GH", "Greywater pit 3", 790_000, 1, "doré bar 124"),
        delivered_by="Secured carrier, two persons",
    )  # fmt: skip
    first = receive_and_value(desk, mixed.lots, flux=24_000, slag=26_400, fume=1_100, Au=782_400, Ag=141_800, Cu=54_300)
    silvery = desk.take_in(
        "P-01", Basis.TOLL, Category.MINED_SMALL,
        (Form.DORE, 912_660, 0, "CA", "Tern Creek", 600_000, 1, "doré bar 3, much silver"),
        delivered_by="Noor Tern",
    )  # fmt: skip
    second = receive_and_value(desk, silvery.lots, flux=8_000, slag=8_900, fume=400, Au=601_200, Ag=351_300, Cu=22_100)
    return first, second


def walk_in(desk: Desk) -> None:
    """A ring and a chain, bought over the counter and paid at once by what X-rays show."""
    parcels = (
        (Form.JEWELLERY, 12_840, 0, "GB", "", 585_000, 1, "chain, marked 585"),
        (Form.JEWELLERY, 4_150, 0, "GB", "", 750_000, 1, "ring, marked 750"),
    )
    shown, price = (583_000, 748_000), Decimal("77.5600")
    lines = [
        receive.Bought("Au", ppm, Method.XRF, price, 930_000, amount(parcel[1], ppm, price, 930_000))
        for parcel, ppm in zip(parcels, shown, strict=True)
    ]
    desk.take_in(
        "P-06", Basis.PURCHASE, Category.RECYCLED, *parcels,
        delivered_by="Ilse Vane",
        said=receive.Said(identity_kind=IdentityKind.CARD, identity_number="88 410 227"),
        purchase=receive.SpotPurchase("EUR", Payment.TRANSFER, "invented fixing, this morning", tuple(lines)),
    )  # fmt: skip


def agree_exchange(desk: Desk) -> None:
    """From today assays are exchanged with the placer cooperative: half a per mille of gold, two of silver."""
    exchanges.agree_exchange(
        party=desk.house.parties["P-01"],
        by=desk.house.malik,
        valid_from=desk.clock.tick(5).date(),
        au_limit_ppm=500,
        ag_limit_ppm=2_000,
        rule=str(UmpireRule.NEARER),
        umpire=desk.house.parties["P-07"],
    )


def open_work(desk: Desk) -> None:
    """What is on the benches today: a fresh delivery, and a vessel that runs."""
    desk.clock.morning(26)
    fresh = desk.take_in(
        "P-02", Basis.TOLL, Category.RECYCLED,
        (Form.JEWELLERY, 412_350, 45_300, "GB", "", 585_000, 66, "14 karat chains"),
        (Form.SWEEPS, 1_204_000, 310_000, "GB", "", 0, 1, "bench sweeps"),
        delivered_by="Piet Kestrel",
    )  # fmt: skip
    desk.pass_on("silas", "STRONG", *fresh.lots)
    walk_in(desk)
    agree_exchange(desk)
    nuggets = desk.take_in(
        "P-01", Basis.TOLL, Category.MINED_SMALL,
        (Form.NUGGETS, 611_480, 18_170, "CA", "Tern Creek", 850_000, 1, "placer nuggets, bag 7"),
        delivered_by="Noor Tern",
    )  # fmt: skip
    bench.exchange_waits(desk, nuggets.lots, Au=843_600, Ag=119_200, Cu=20_400)
    chloride = mine(desk, Form.SILVER_CHLORIDE)
    book = desk.book(*chloride)
    caustic = 2_600 * G
    work.record_step(
        kind=Kind.CHARGE,
        step=Kind.CEMENT_SILVER,
        inputs=[work.Take(lot) for lot in chloride],
        additions=(work.Add(Addition.REAGENT, caustic),),
        outputs=[
            work.Make(
                Form.IN_PROCESS,
                book["gross"] + caustic,
                {metal: book[metal] for metal in ("Au", "Ag")},
                vessel="VESSEL-2",
            )
        ],
        at=desk.clock.tick(120),
        by=desk.house.orrin,
    )
