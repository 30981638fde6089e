"""A small book with a row in every table of the ledger, built through the actions, to try the promises on.

Last month: two receipts, one melted and closed. This month: a run with draws, samples, a valuation of an unvalued lot,
bars, a dispatch, a settlement and its correction, a loss over tolerance, a recovery, a difference, a reversal, papers.
"""

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.utils import timezone

from custody.actions import papers
from custody.actions._sign import Signature
from custody.actions.attach import attach
from custody.actions.history import import_history
from custody.actions.house import close_period
from custody.actions.readings import keep_reading
from custody.actions.routes import order_route, set_plant
from custody.actions.samples import seal_sample
from custody.actions.tokens import make_token
from custody.actions.weigh import Weighed
from custody.actions.work import Add, Drawn, Lose, Make, Take, correct_lot, record_step, reverse
from custody.calc.apportion import withdraw
from custody.calc.route import Step
from custody.models import Lot, Operation
from custody.terms import Addition, AttachmentKind, Cause, DocumentKind, Form, Kind, Outturn, SampleCut, SamplePurpose
from tests import builders, charges, counter, everything_of_bars, exchanges, people, prices, settling

HISTORY = [
    '{"record":"header","format":"custody-history","version":1}',
    '{"record":"party","code":"P-77","name":"Fell End Smelters","country":"NO"}',
    '{"record":"operation","number":"OLD-1","kind":"receive","at":"2023-03-01T09:00:00+00:00","party":"P-77","outputs":'
    '[{"lot":"OLD-A","form":"dore","gross_g":"100.000","fine_g":{"Au":"60.000","Ag":"30.000"}},'
    '{"lot":"OLD-B","form":"dore","gross_g":"50.000","fine_g":{"Au":"20.000"}}]}',
    '{"record":"operation","number":"OLD-2","kind":"melt","at":"2023-03-01T10:00:00+00:00","inputs":[{"lot":"OLD-A"},'
    '{"lot":"OLD-B","gross_g":"30.001"}],"outputs":[{"lot":"OLD-C","form":"melt","gross_g":"129.001","fine_g":'
    '{"Au":"71.900","Ag":"29.990"}}],"losses":[{"cause":"slag","gross_g":"1.000","fine_g":{"Au":"0.100","Ag":"0.010"}}]}',
]

PIN = Drawn(SampleCut.PIN, SamplePurpose.LABORATORY, seal="S-1")


@dataclass
class Everything:
    """The book's landmarks, by what they show."""

    month: datetime
    melt: Operation
    pool: Lot
    split: Operation
    bar: Lot
    content: Lot
    unvalued: Lot
    held: Lot
    receipt: Operation
    reversal: Operation


def whole_book() -> Everything:
    """Builds it; needs a database of its own, where actions commit."""
    now = timezone.now()
    then = now.replace(day=1, hour=9) - timedelta(days=20)
    builders.places()
    import_history(lines=HISTORY)
    otto = people.otto_operator()
    first, second = builders.ready(1000, 500, at=then, Au=800_000, Ag=150_000)
    (other,) = builders.ready(700, at=then, Au=600_000, Ag=300_001)
    melt = _step(
        Kind.MELT, [Take(first.number), Take(second.number), Take(other.number, 300_000)],
        [Make(Form.MELT, 1_780_000, {"Au": 1_379_000, "Ag": 314_980}), Make(Form.SLAG, 19_000, {"Au": 900})],
        at=then, losses=(Lose(Cause.FUME, 1_000, {"Au": 100, "Ag": 20}),),
    )  # fmt: skip
    close_period(month=then.date(), by=people.matt_accountant())
    pool, slag = (builders.fresh(number) for number in melt.lots)
    split = _step(
        Kind.DIVIDE, [Take(pool.number, 700_001)], [Make(Form.GRANULES, 700_001, _fine_of(pool, 700_001))], at=now
    )
    settling.terms()
    content, sand = _run(split, now, otto)
    bar = _bars(sand, content, otto, now)
    receipt = builders.receipt_of(first)
    settled = settling.settled(first)
    settling.settled(first, Outturn.METAL, corrects=settled, reason="The customer takes metal")
    unvalued, held = _unvalued(now)
    charges.whole_charge()
    fiona = people.fiona_frontdesk()
    keep_reading(scale=builders.scale(), value_ug=5, stable=True, line="5 g", read_at=now, by=fiona, key="reading-1")
    make_token(user=fiona, by=None)
    _recovery(slag, now)
    reversal = _corrections(now)
    papers.store(
        kind=DocumentKind.RECEIPT, title="Receipt", content=b"%PDF-1.7 a receipt", at=now, by=people.fiona_frontdesk(),
        party=people.party(), operation=receipt,
    )  # fmt: skip
    attach(
        receipt=receipt, lot=None, kind=AttachmentKind.EXPORT, title="Export permit", content=b"%PDF-1.7 a permit",
        at=now, by=people.fiona_frontdesk(),
    )  # fmt: skip
    _counter()
    _plant(now)
    everything_of_bars.whole(now)
    prices.whole()
    exchanges.terms(people.party("P-03"))
    exchanges.refinery_in(exchanges.opened(builders.received(20_000, of=people.party("P-03"))[0]))
    return Everything(
        then, Operation.objects.get(pk=melt.id), builders.fresh(pool.number), Operation.objects.get(pk=split.id),
        bar, builders.fresh(content.number), unvalued, held, receipt, reversal,
    )  # fmt: skip


def _counter():
    """Bought by a slip that is entered, another slip spoiled, a parcel refused, one returned, one amended."""
    counter.spoiled()
    said = replace(counter.KNOWN, slip=counter.slip().number)
    (lot,) = counter.bought(said=said).created_lots.all()
    counter.refused(builders.receipt_of(lot), weighed=Weighed("BENCH-2", 40_000))
    counter.given_back(builders.received(15_000)[0])
    counter.amended(lot)


def _plant(now):
    """Settings of the plant, and a route ordered for a lot that stays as it is."""
    set_plant(valid_from=timezone.localdate(now), at=now, by=people.mona_manager())
    order_route(
        lots=[builders.ready(30)[0].number], steps=[Step.CRUST, Step.AQUA_REGIA, Step.PRECIPITATE, Step.MELT],
        wanted_ppm=999_500, at=timezone.now(), by=people.otto_operator(),
    )  # fmt: skip


def _fine_of(lot, gross):
    fine = withdraw(lot.gross_mg, lot.metals_mg, gross)
    return {"Au": fine[0], "Ag": fine[1]}


def _step(kind, inputs, outputs, **more):
    more.setdefault("by", people.otto_operator())
    return record_step(kind=kind, inputs=inputs, outputs=outputs, **more)


def _run(split, now, otto):
    """Granules and a third receipt dissolved; gold sand drawn and assayed; silver chloride drawn; the rest stays."""
    (third,) = builders.ready(200, at=now, Au=990_000, Ag=5_000)
    granules = builders.fresh(split.lots[0])
    charged = _step(
        Kind.CHARGE, [Take(granules.number), Take(third.number)],
        [Make(Form.IN_PROCESS, 5_900_001, {"Au": granules.au_mg + third.au_mg, "Ag": granules.ag_mg + third.ag_mg},
              vessel="VESSEL-1")],
        additions=(Add(Addition.ACID, 5_000_000),), at=now, step=Kind.DISSOLVE,
    )  # fmt: skip
    content = builders.fresh(charged.lots[0])
    sand = content.au_mg - 500
    drawn = _step(
        Kind.DRAW, [Take(content.number, sand + 40, {"Au": sand, "Ag": 40})],
        [Make(Form.GOLD_SAND, sand + 40, {"Au": sand, "Ag": 40})], at=now,
    )  # fmt: skip
    _step(
        Kind.DRAW, [Take(content.number, 100_000, {"Ag": 60_000})],
        [Make(Form.SILVER_CHLORIDE, 100_000, {"Ag": 60_000})], at=now,
    )  # fmt: skip
    return content, builders.fresh(drawn.lots[0])


def _bars(sand, content, otto, now):
    (mine,) = builders.ready(1000, at=now, Au=999_900)
    cast = _step(
        Kind.CAST, [Take(sand.number), Take(mine.number)],
        [Make(Form.BAR, 500_000, {"Au": 499_950}, serial="HF-1", place="SHOP"),
         Make(Form.BAR, 500_000, {"Au": 499_950}, serial="HF-2", place="SHOP"),
         Make(Form.GRANULES, sand.gross_mg, {"Au": sand.au_mg + mine.au_mg - 999_900, "Ag": 40})],
        at=now,
    )  # fmt: skip
    vaulted = builders.handed_over(builders.fresh(cast.lots[1]), people.vera_vault(), "VAULT", weighed_mg=500_000)
    own = settling.bar_in_vault("HF-9", grams=100)
    settling.dispatched(own)
    return vaulted


def _unvalued(now):
    """A parcel sampled before its assay, one sample consumed; and one that compliance holds."""
    sam = people.sam_sampler()
    parcel, held = builders.received(100_000, 40_000, at=now)
    parcel = builders.handed_over(builders.released(parcel), sam, "LAB")
    samples = [
        _step(Kind.SAMPLE, [Take(parcel.number, 500)], [Make(Form.SAMPLE, 500, drawn=PIN)], at=timezone.now(), by=sam)
        for _ in range(2)
    ]
    _step(Kind.SAMPLE, [Take(samples[0].lots[0])], [], losses=(Lose(Cause.SAMPLE, 500),), at=timezone.now(), by=sam)
    seal_sample(sample=samples[1].lots[0], seal="S-2", purpose=SamplePurpose.RESERVE, at=timezone.now(), by=sam)
    builders.valued(builders.fresh(parcel.number), Au=700_000, Ag=200_000)
    waiting, *_ = builders.received(30_000, 20_000)
    return waiting, builders.held(held)


def _recovery(slag, now):
    """Gold comes back out of what was declared lost in fume, and more than was lost: a difference."""
    _step(
        Kind.RECYCLE, [Take(slag.number)],
        [Make(Form.MELT, slag.gross_mg, {"Au": slag.au_mg + 60})],
        losses=(Lose(Cause.FUME, 0, {"Au": -60}),), at=timezone.now(), reason="flue dust worked up",
        countersign=Signature(people.mona_manager(), "Seen the flue dust"),
    )  # fmt: skip


def _corrections(now):
    """A loss over tolerance with its countersignature, a difference, and an operation entered twice and reversed."""
    one, two = builders.ready(100, 80, at=timezone.now(), Au=500_000)
    mona = people.mona_manager()
    melted = _step(
        Kind.MELT, [Take(one.number)], [Make(Form.MELT, 99_000, {"Au": 49_500})], at=timezone.now(),
        losses=(Lose(Cause.SPILL, 1_000, {"Au": 500}),), reason="The crucible cracked",
        countersign=Signature(mona, "Saw the crucible"),
    )  # fmt: skip
    lot = builders.fresh(melted.lots[0])
    correct_lot(
        lot=lot.number, gross_mg=99_010, fine_mg={"Au": 49_505}, book_mg=lot.columns_mg, at=timezone.now(),
        reason="Stocktake", countersign=Signature(mona, "Counted with Matt"), by=people.matt_accountant(),
    )  # fmt: skip
    twice = _step(
        Kind.MELT, [Take(two.number, 30_000), Take(lot.number, 9_000)],
        [Make(Form.MELT, 39_000, {"Au": 19_500})], at=timezone.now(),
    )  # fmt: skip
    undone = reverse(
        operation=Operation.objects.get(pk=twice.id), reason="Entered twice", at=timezone.now(),
        by=people.otto_operator(),
    )  # fmt: skip
    return Operation.objects.get(pk=undone.id)
