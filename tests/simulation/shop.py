"""The plant's work at random, through its real actions: vessels and tanks, clean-outs, bars, boxes, water, the cage."""

from collections import Counter
from collections.abc import Sequence
from random import Random

from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.assay import accept, determine
from custody.actions.bar_types import enter_bar_type, set_aside_serials, tell_serials
from custody.actions.boxes import open_box, pack_box
from custody.actions.move import Passing, dispatch, hand_over
from custody.actions.routes import order_route
from custody.actions.runs import Into, charge_vessel, draw_from, let_overflow
from custody.actions.solutions import Found, accept_solution, assay_solution, set_effluent_limits
from custody.actions.tanks import set_vessel
from custody.actions.vault import close_vault, count_stock, open_vault
from custody.actions.water import discharge as let_out
from custody.actions.weigh import Weighed
from custody.actions.work import Add, ForOrder, Lose, Make, Take, record_step, reverse
from custody.calc.apportion import divide
from custody.calc.bar_types import Making
from custody.calc.refusals import Refused
from custody.calc.route import Step
from custody.errors import Refusal
from custody.models import Box, Lot, Operation, RouteOrder, SolutionAssay, VaultAccess
from custody.terms import METALS, Addition, Against, Cause, Form, Kind, NotWeighed, SerialFate
from tests import builders, people

VESSELS = ("VESSEL-1", "VESSEL-2", "TANK-1")
WET = (Kind.NEUTRALISE, Kind.PRECIPITATE, Kind.CEMENT_COPPER)
BAR_MG = 10_000
DELIVERIES = (
    (1000, {"Au": 780_000, "Ag": 140_000, "Cu": 60_000}), (400, {"Au": 600_000, "Ag": 350_000}), (90, {"Ag": 999_000}),
    (70, {"Cu": 990_000}), (200, {"Au": 999_900}), (300, {"Au": 999_900}),
)  # fmt: skip
DRY = (Form.DORE, Form.MELT, Form.GOLD_SAND, Form.GRANULES, Form.FILINGS, Form.SWEEPINGS)


class Idle(Exception):
    """There is nothing that this step could be done with."""


class Shop:
    """One book, its lots chosen at random; what was refused is counted by its class."""

    def __init__(self) -> None:
        self.random = Random()
        self.done: Counter = Counter()
        self.refused: Counter = Counter()
        self.nameless: list[str] = []
        self.serial = 0

    def work(self, history) -> None:
        """Does these steps, each by its own seed."""
        for name, seed in history:
            self.random.seed(f"{name}{seed}")
            try:
                STEPS[name](self)
            except Idle:
                continue
            except (Refusal, Refused) as refusal:
                self.refused[f"{name}: {type(refusal).__name__}"] += 1
                self.nameless += [] if refusal.field else [f"{name}: {refusal!r}"]
            else:
                self.done[name] += 1

    def lots(self, *forms: Form, by=None) -> list[Lot]:
        held = Lot.objects.filter(form__in=forms, gross_mg__gt=0).order_by("id")
        return list(held.filter(custodian=by) if by else held)

    def metal(self) -> list[Lot]:
        """What the operator may melt or dissolve; mostly he leaves fine gold for bars."""
        lots = self.lots(*DRY, by=people.otto_operator())
        return lots if self.random.random() < 0.1 else [lot for lot in lots if not is_fine(lot)]

    def choice(self, some: Sequence):
        """One of these; nothing is done where there is none."""
        if not some:
            raise Idle
        return self.random.choice(some)

    def one(self, *forms: Form, by=None) -> Lot:
        return self.choice(self.lots(*forms, by=by))

    def content(self) -> Lot:
        return self.one(Form.IN_PROCESS)

    def into(self) -> Into:
        return Into(builders.place(self.random.choice(VESSELS)), self.random.choice(WET))

    def signed(self) -> dict:
        if self.random.random() < 0.1:
            return {}
        return {"reason": "Seen together", "countersign": Signature(people.mona_manager(), "Seen together")}

    def head(self) -> dict:
        return {"at": timezone.now(), "by": people.otto_operator()}


def is_fine(lot: Lot) -> bool:
    return lot.au_mg * 1000 > lot.gross_mg * 999


def fine(lot: Lot) -> dict[str, int]:
    return dict(zip(METALS, lot.metals_mg, strict=True))


def lay_out() -> None:
    """The house, its tanks, types, serials, permit and an order; six deliveries of one parcel each."""
    builders.places()
    for code in ("BENCH-2", "FLOOR-1"):
        builders.scale(code)
    mona, otto = people.mona_manager(), people.otto_operator()
    for tank, onward in (("VESSEL-1", "VESSEL-2"), ("VESSEL-2", "TANK-1")):
        set_vessel(place=builders.place(tank), capacity_ml=None, overflows_to=builders.place(onward), by=mona)
    ten = enter_bar_type(
        code="AU-10", name="10 g gold", metal="Au", nominal_mg=BAR_MG, least_mg=BAR_MG, most_mg=BAR_MG + 20,
        least_ppm=999_000, making=Making.CAST, by=mona,
    )  # fmt: skip
    for head, of_type in (("T", ten), ("F", None)):
        set_aside_serials(
            mark="HFR", year=timezone.now().year, head=head, width=3, first=1, last=60, at=timezone.now(), by=mona,
            bar_type=of_type,
        )  # fmt: skip
    set_effluent_limits(
        valid_from=timezone.localdate(), limits={"Cu": (None, 2_000), "pH": (650, 900)}, note="Permit",
        at=timezone.now(), by=mona,
    )  # fmt: skip
    for grams, ppm in DELIVERIES:
        (lot,) = builders.ready(grams, **ppm)
    order_route(
        lots=[lot.number], steps=[Step.PRECIPITATE], wanted_ppm=999_900, at=timezone.now(), by=otto, note="As asked"
    )


# Vessels and tanks


def charge(shop: Shop) -> None:
    lots = shop.metal() + shop.lots(Form.SOLUTION, by=people.otto_operator())
    shop.choice(lots)
    chosen = shop.random.sample(lots, min(len(lots), shop.random.randint(1, 2)))
    water = Add(Addition.WATER, shop.random.choice((1, 5_000_000, 20_000_001)))
    charge_vessel(into=shop.into(), inputs=[Take(lot.number) for lot in chosen], additions=[water], **shop.head())


def draw(shop: Shop) -> None:
    """A product, or liquor that runs straight on; sometimes richer than the book, sometimes with a loss."""
    random, content = shop.random, shop.content()
    took = {metal: random.choice((0, mg, random.randint(0, mg))) for metal, mg in fine(content).items()}
    gross = max(sum(took.values()), 1) + random.randint(0, 500)
    lost = {metal: random.randint(0, min(mg // 1000, 40)) for metal, mg in took.items()}
    richer = random.choice((0, 0, 0, 30))
    losses = [Lose(Cause.FILTER, sum(lost.values()), lost)] if any(lost.values()) else []
    losses += [Lose(Cause.DIFFERENCE, -richer, {"Au": -richer})] if richer else []
    made = {metal: mg - lost[metal] for metal, mg in took.items()}
    made["Au"] += richer
    onward = random.random() < 0.3
    out = Make(
        Form.SOLUTION if onward else random.choice((Form.GOLD_SAND, Form.CAKE)),
        gross - sum(lost.values()) + richer, made, place=content.place.code,
    )  # fmt: skip
    draw_from(
        kind=Kind.DRAW, content=content, take=Take(content.number, gross, took), outputs=[out], losses=losses,
        into={0: shop.into()} if onward else None, **shop.head(), **shop.signed(),
    )  # fmt: skip


def overflow(shop: Shop) -> None:
    content = shop.content()
    volume = shop.random.choice((1, 500, content.gross_mg // 2000 or 1))
    let_overflow(content=content, volume_ml=volume, step=shop.random.choice(WET), **shop.head())


def finish(shop: Shop) -> None:
    content = shop.content()
    fume = min(shop.random.choice((0, 400)), content.gross_mg - sum(content.metals_mg), content.gross_mg - 1)
    draw_from(
        kind=Kind.FINISH, content=content, take=Take(content.number),
        outputs=[Make(Form.SOLUTION, content.gross_mg - fume, fine(content), place="TANK-1")],
        losses=[Lose(Cause.FUME, fume)] if fume else [],
        into={0: shop.into()} if shop.random.random() < 0.4 else None, **shop.head(), **shop.signed(),
    )  # fmt: skip


def assay_tank(shop: Shop) -> None:
    random, lot = shop.random, shop.one(Form.IN_PROCESS, Form.SOLUTION)
    litre = max(lot.gross_mg // 1_000_000, 1)
    clean = random.random() < 0.5
    found = {
        metal: Found(0 if clean else random.randint(0, mg * 1000 // litre), below=clean)
        for metal, mg in fine(lot).items()
        if random.random() < 0.95
    }
    assay = assay_solution(
        lot=lot.number, volume_ml=max(lot.gross_mg // 1000 + random.choice((0, 0, 3, -3)), 1), density_mg_ml=1000,
        figures=found, method="ICP", ph_centi=random.choice((800, 800, 300)), at=timezone.now(),
        by=people.anna_assayer(),
    )  # fmt: skip
    if random.random() < 0.6:
        accept_solution(assay=assay, at=timezone.now(), by=people.ada_assayer(), **shop.signed())


def accept_late(shop: Shop) -> None:
    waits = list(SolutionAssay.objects.filter(acceptance=None, lot__gross_mg__gt=0))
    by = shop.random.choice((people.ada_assayer, people.ada_assayer, people.anna_assayer))()
    accept_solution(assay=shop.choice(waits), at=timezone.now(), by=by, **shop.signed())


def discharge(shop: Shop) -> None:
    water = shop.lots(Form.SOLUTION)
    clean = [lot for lot in water if lot.solution_assays.exists()]
    let_out(lot=shop.choice(clean or water), volume=shop.random.choice((None, 1, 5)), **shop.head())


# Furnace and floor


def deliver(shop: Shop) -> None:
    grams, ppm = shop.random.choice(DELIVERIES)
    builders.ready(grams, **ppm)


def melt(shop: Shop) -> None:
    """Sometimes what an order asks for, sometimes with something left in the lining."""
    random = shop.random
    lots = random.sample(found := shop.metal(), min(len(found), random.randint(1, 3)))
    shop.choice(lots)
    metals = {metal: sum(fine(lot)[metal] for lot in lots) for metal in METALS}
    gross = sum(lot.gross_mg for lot in lots)
    lost = {metal: random.randint(0, min(mg, 45)) for metal, mg in metals.items()}
    gone = sum(lost.values())
    if gone >= gross:
        raise Idle
    record_step(
        kind=Kind.MELT, inputs=[Take(lot.number) for lot in lots], place=builders.place("SHOP"),
        outputs=[Make(Form.MELT, gross - gone, {metal: mg - lost[metal] for metal, mg in metals.items()})],
        losses=(Lose(random.choice((Cause.LINING, Cause.SWEEPINGS)), gone, lost),) if gone else (),
        for_order=ForOrder(RouteOrder.objects.get(), str(Step.PRECIPITATE)) if random.random() < 0.3 else None,
        **shop.head(),
    )  # fmt: skip


def clean_out(shop: Shop) -> None:
    cause, gross = shop.random.choice((Cause.LINING, Cause.SWEEPINGS)), shop.random.choice((50, 900, 4_000))
    record_step(
        kind=Kind.CLEAN_OUT, inputs=[], outputs=[Make(Form.SWEEPINGS, gross)], losses=(Lose(cause, -gross),),
        place=builders.place("SHOP"), **shop.head(),
    )  # fmt: skip


def value(shop: Shop) -> None:
    """An assay of what was swept or drawn, seldom of anything else."""
    random = shop.random
    lot = shop.one(Form.SWEEPINGS, Form.GOLD_SAND) if random.random() < 0.9 else shop.one(*DRY)
    of_sweeps = lot.form == Form.SWEEPINGS
    ppm = {
        metal: random.randint(0, 20_000) if of_sweeps else mg * 995_000 // lot.gross_mg
        for metal, mg in fine(lot).items()
    }
    one = determine(lot=lot, ppm=ppm, method="fire assay", at=timezone.now(), by=people.anna_assayer())
    accept(determination=one, at=timezone.now(), by=people.ada_assayer(), **shop.signed())


# Bars


def _pieces(shop: Shop, kind: Kind, lot: Lot, makes: list[Make], lost: int = 0) -> None:
    rest = lot.gross_mg - lost - sum(make.gross_mg for make in makes[:-1])
    if rest <= 0:
        raise Idle
    makes[-1] = Make(makes[-1].form, rest, place="SHOP")
    losses = [Lose(Cause.SWEEPINGS, lost)] if lost else []
    for part, share in zip(
        [*makes, *losses],
        divide(lot.gross_mg, lot.metals_mg, [one.gross_mg for one in (*makes, *losses)]),
        strict=True,
    ):
        part.fine_mg.update(zip(METALS, share, strict=True))
    record_step(kind=kind, inputs=[Take(lot.number)], outputs=makes, losses=tuple(losses), **shop.head())


def punch(shop: Shop) -> None:
    """Fine gold becomes blanks, a little heavy, and the rest a skeleton."""
    gold = [lot for lot in shop.lots(*DRY, by=people.otto_operator()) if is_fine(lot)]
    heavy = [Make(Form.BLANK, BAR_MG + shop.random.choice((0, 10, 90)), place="SHOP") for _ in range(4)]
    _pieces(shop, Kind.PUNCH, shop.choice(gold), [*heavy, Make(Form.GRANULES, 1)])


def adjust(shop: Shop) -> None:
    """Filed to the weight of the type, filings a lot of their own; sometimes a milligram gets lost."""
    heavy = [lot for lot in shop.lots(Form.BLANK, by=people.otto_operator()) if lot.gross_mg > BAR_MG]
    to = BAR_MG + shop.random.choice((0, 1, 15))
    _pieces(
        shop, Kind.ADJUST, shop.choice(heavy),
        [Make(Form.BLANK, to, place="SHOP"), Make(Form.FILINGS, 1)], shop.random.choice((0, 1)),
    )  # fmt: skip


def stamp(shop: Shop) -> None:
    """Mostly with the next serial of the type's range, sometimes one that is used, spoiled or another type's."""
    random, lot = shop.random, shop.one(Form.BLANK, by=people.otto_operator())
    shop.serial += 1
    serial = random.choice((f"T{shop.serial:03d}",) * 6 + ("T001", "F002", "X9"))
    bar = Make(Form.BAR, lot.gross_mg, fine(lot), place="SHOP", serial=serial, bar_type="AU-10")
    record_step(kind=Kind.STAMP, inputs=[Take(lot.number)], outputs=[bar], **shop.head())


def spoil(shop: Shop) -> None:
    tell_serials(
        mark="HFR", year=timezone.now().year, serials=[f"T{shop.serial + shop.random.choice((0, 2)):03d}"],
        fate=shop.random.choice((SerialFate.SPOILED, SerialFate.RESERVED)), reason="Slipped", at=timezone.now(),
        by=people.otto_operator(),
    )  # fmt: skip


# The vault and the gate


def store(shop: Shop) -> None:
    """Bars and blanks go to the keeper, in the vault or in the cage that two people open."""
    bars = shop.lots(Form.BAR, Form.CAKE, by=people.otto_operator())
    shop.choice(bars)
    where = builders.place(shop.random.choice(("VAULT", "VAULT", "CAGE")))
    passing = [Passing(lot.number, not_weighed=NotWeighed.SEALED) for lot in bars]
    hand_over(lots=passing, to_person=people.vera_vault(), to_place=where, at=timezone.now(),
              by=people.otto_operator())  # fmt: skip


def fetch(shop: Shop) -> None:
    lot = shop.one(Form.BAR, by=people.vera_vault())
    passing = [Passing(lot.number, not_weighed=NotWeighed.SEALED)]
    hand_over(lots=passing, to_person=people.otto_operator(), to_place=builders.place("SHOP"), at=timezone.now(),
              by=people.vera_vault())  # fmt: skip


def pack(shop: Shop) -> None:
    bars = shop.lots(Form.BAR, by=people.vera_vault())
    shop.choice(bars)
    chosen = shop.random.sample(bars, min(len(bars), 2))
    seal = shop.random.choice(("S-1", f"S-{Box.objects.count() + 2}"))
    pack_box(bars=[lot.number for lot in chosen], seal=seal, at=timezone.now(), by=people.vera_vault())


def unpack(shop: Shop) -> None:
    boxes = list(Box.objects.filter(opening=None) if shop.random.random() < 0.8 else Box.objects.all())
    open_box(box=shop.choice(boxes), reason="Asked for", at=timezone.now(), by=people.vera_vault())


def send(shop: Shop) -> None:
    """A box whole, a bar of it alone, or a cake that is weighed at the gate."""
    random, vera = shop.random, people.vera_vault()
    boxes = list(Box.objects.filter(opening=None))
    if boxes and random.random() < 0.6:
        lots = [line.lot for line in random.choice(boxes).lines.all()]
        lots = lots[:1] if random.random() < 0.2 else lots
    else:
        lots = [shop.one(Form.BAR, Form.CAKE, by=vera)]
    if lots:
        off = random.choice((0, 0, 5_000))
        weighed = {lot.number: Weighed("BENCH-2", lot.gross_mg + off) for lot in lots if lot.form != Form.BAR}
        own = any(lot.owner_id for lot in lots)
        dispatch(
            lots=[lot.number for lot in lots], party=people.party(), at=timezone.now(), by=vera, weighed=weighed,
            collected=builders.COLLECTED, against=Against.OWN if own else Against.SALE, **shop.signed(),
        )  # fmt: skip


def vault(shop: Shop) -> None:
    """The cage is opened by two, or closed again."""
    vera, mona = people.vera_vault(), people.mona_manager()
    opened = VaultAccess.objects.filter(closing=None).first()
    if opened:
        close_vault(access=opened, at=timezone.now(), by=shop.random.choice((vera, mona)))
    else:
        second = shop.random.choice((mona, mona, mona, vera, people.otto_operator()))
        open_vault(place=builders.place("CAGE"), purpose="Bars", second=Signature(second, "Opened together"),
                   at=timezone.now(), by=vera)  # fmt: skip


def count(shop: Shop) -> None:
    place = builders.place(shop.random.choice(("VAULT", "CAGE", "SHOP")))
    stands = list(Lot.objects.filter(place=place, gross_mg__gt=0).values_list("number", flat=True))
    missing = {number: "Not seen" for number in stands if shop.random.random() < 0.1}
    count_stock(
        place=place, found={number: "" for number in stands if number not in missing}, missing=missing,
        second=Signature(people.mona_manager(), "Counted together"), at=timezone.now(), by=people.vera_vault(),
    )  # fmt: skip


def undo(shop: Shop) -> None:
    """One of the last operations, of any kind but those that laid the house out."""
    recent = Operation.objects.exclude(kind__in=(Kind.RECEIVE, Kind.REVERSE)).filter(reversed_by=None).order_by("-id")
    recent = [one for one in recent[:6] if not one.movements.filter(what="valuation").exists()]
    reverse(operation=shop.choice(recent), reason="Entered wrongly", **shop.head())


STEPS = {
    "charge": charge, "draw": draw, "overflow": overflow, "finish": finish, "assay tank": assay_tank,
    "accept late": accept_late, "discharge": discharge, "deliver": deliver, "melt": melt, "clean out": clean_out,
    "value": value, "punch": punch, "adjust": adjust, "stamp": stamp, "spoil": spoil, "store": store, "fetch": fetch,
    "pack": pack, "unpack": unpack, "send": send, "vault": vault, "count": count, "undo": undo,
}  # fmt: skip
