"""Weighings, samples, returns and valuations at random, through the real actions: whatever order they take, the whole
book examines clean, and whatever is refused names the field that is to be mended."""

from collections import Counter
from random import Random

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from custody.actions.assay import accept, determine
from custody.actions.clearance import clear_lots
from custody.actions.give_back import GoingBack
from custody.actions.give_back import give_back as send_back
from custody.actions.move import Passing, hand_over
from custody.actions.samples import (
    consume_sample,
    draw_samples,
    melt_on_receipt,
    return_remainder,
    seal_sample,
)
from custody.actions.weigh import Weighed
from custody.actions.work import Add, Drawn, Lose, Make, reverse
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import Determination, Lot, Operation, OriginReceipt
from custody.queries.verify import verify
from custody.terms import (
    METALS,
    Addition,
    Cause,
    Clearance,
    Form,
    Kind,
    NotWeighed,
    SampleCut,
    SamplePurpose,
)
from tests import builders, people

SCALE = "BENCH-2"


class Bench:
    """The lots of one book, chosen at random; what was refused is counted by its class."""

    def __init__(self, random: Random) -> None:
        self.random = random
        self.done: Counter = Counter()
        self.refused: Counter = Counter()

    def lots(self, *forms: Form, empty: float = 0.05) -> list[Lot]:
        found = Lot.objects.order_by("id")
        if forms:
            found = found.filter(form__in=forms)
        return list(found if self.random.random() < empty else found.filter(gross_mg__gt=0))

    def one(self, *forms: Form) -> Lot | None:
        lots = self.lots(*forms)
        return self.random.choice(lots) if lots else None

    def by(self):
        return self.random.choice([people.sam_sampler] * 9 + [people.anna_assayer])()

    def weighed(self, mg: int) -> Weighed:
        off = self.random.choice((0,) * 12 + (100, -100, 5_000))
        return Weighed(SCALE, max(mg + off, 1))

    def head(self) -> dict:
        return {"at": timezone.now(), "by": self.by()}


def _likeness(lot: Lot) -> tuple:
    return lot.receipt_id, lot.declared_origin, lot.valued


def melt(bench: Bench) -> None:
    random = bench.random
    lots = [lot for lot in bench.lots() if lot.form not in (Form.SAMPLE, Form.SLAG)]
    if not lots:
        return
    first = random.choice([lot for lot in lots if not lot.valued] or lots)
    alike = [lot for lot in lots if _likeness(lot) == _likeness(first)]
    chosen = random.sample(alike if random.random() < 0.9 else lots, random.randint(1, len(alike)))
    flux = random.choice((0, 1, 5_000))
    whole = sum(lot.gross_mg for lot in chosen) + flux
    slag, dip = (random.choice((0, 1_500, 6_000)) for _ in range(2))
    lost = random.choice((0, 1, 700))
    out = whole - slag - dip - lost + random.choice((0,) * 9 + (1,))
    pin = Drawn(SampleCut.DIP, SamplePurpose.UMPIRE, seal="S")
    melt_on_receipt(
        weighed={lot.number: bench.weighed(lot.gross_mg) for lot in chosen},
        melt=Make(Form.MELT, out, weighed=bench.weighed(max(out, 1))),
        others=[Make(Form.SLAG, slag)] if slag else [],
        dips=[Make(Form.SAMPLE, dip, drawn=pin)] if dip else [],
        additions=[Add(Addition.FLUX, flux)] if flux else [],
        losses=[Lose(random.choice((Cause.FUME, Cause.MOISTURE, Cause.EFFLUENT)), lost)] if lost else [],
        **bench.head(),
    )


def draw(bench: Bench) -> None:
    lot, random = bench.one(), bench.random
    if lot:
        gross = random.choice((1, 250, 6_250, lot.gross_mg, lot.gross_mg + 1))
        cut = Drawn(random.choice(list(SampleCut)), random.choice(list(SamplePurpose)))
        draw_samples(
            lot=lot.number,
            samples=[Make(Form.SAMPLE, gross, drawn=cut) for _ in range(random.randint(1, 2))],
            losses=[Lose(Cause.SAMPLE, random.choice((-1, 1, 125)))] if random.random() < 0.4 else [],
            **bench.head(),
        )


def consume(bench: Bench) -> None:
    sample, random = bench.one(Form.SAMPLE), bench.random
    if sample:
        left = (
            Weighed(SCALE, max(sample.gross_mg // 2, 1)) if random.random() < 0.3 and sample.gross_mg > 9_999 else None
        )
        some = None if left else random.choice((None, 1, sample.gross_mg, sample.gross_mg + 1))
        consume_sample(sample=sample.number, consumed_mg=some, left=left, **bench.head())


def give_back(bench: Bench) -> None:
    valued = [lot for lot in bench.lots(Form.SAMPLE) if lot.valued]
    sample = bench.random.choice(valued) if valued and bench.random.random() < 0.8 else bench.one(Form.SAMPLE)
    if sample:
        return_remainder(sample=sample.number, **bench.head())


def seal(bench: Bench) -> None:
    sample = bench.one(Form.SAMPLE)
    if sample:
        number = bench.random.choice(("S-9", "S-9", " "))
        seal_sample(sample=sample.number, seal=number, purpose=SamplePurpose.RESERVE, **bench.head())


def value(bench: Bench) -> None:
    random = bench.random
    lot = bench.one(*(form for form in Form if form is not Form.SAMPLE)) if random.random() < 0.8 else bench.one()
    if lot:
        gold = random.choice((0, 333_333, 800_001, 999_999))
        ppm = {"Au": gold, "Ag": random.randint(0, 1_000_000 - gold)}
        one = determine(lot=lot, ppm=ppm, method="fire assay", at=timezone.now(), by=people.anna_assayer())
        if random.random() < 0.8:
            accept(determination=one, at=timezone.now(), by=people.mona_manager())


def accept_later(bench: Bench) -> None:
    waits = list(Determination.objects.filter(acceptance=None))
    if waits:
        accept(determination=bench.random.choice(waits), at=timezone.now(), by=people.mona_manager())


def clear(bench: Bench) -> None:
    lot = bench.one()
    if lot:
        to = bench.random.choice((Clearance.RELEASED, Clearance.RELEASED, Clearance.HELD))
        clear_lots(lots=[lot.number], clearance=to, reason="Seen", at=timezone.now(), by=people.clara_compliance())


def carry(bench: Bench) -> None:
    lot = bench.one(Form.SAMPLE)
    if lot:
        to = bench.random.choice((people.anna_assayer, people.sam_sampler, people.sam_sampler))()
        place = builders.place(bench.random.choice(("LAB", "FURNACE-1")))
        passing = Passing(lot.number, not_weighed=NotWeighed.SEALED)
        hand_over(lots=[passing], to_person=to, to_place=place, at=timezone.now(), by=lot.custodian)


def pass_on(bench: Bench) -> None:
    """Any lot is weighed again as it passes, mostly within what the scale may be off."""
    lot = bench.one()
    if lot:
        to = bench.random.choice((people.sam_sampler, people.sam_sampler, people.anna_assayer, people.otto_operator))()
        passing = Passing(lot.number, bench.weighed(lot.gross_mg))
        hand_over(
            lots=[passing], to_person=to, to_place=builders.place("LAB"), at=timezone.now(), by=lot.custodian or to
        )


def go_back(bench: Bench) -> None:
    """A parcel goes back to who brought it: carried to the counter, weighed there and again as it leaves."""
    parcels = list(Lot.objects.filter(created_by__kind=Kind.RECEIVE, gross_mg__gt=0).order_by("id"))
    if not parcels:
        return
    lot, fiona = bench.random.choice(parcels), people.fiona_frontdesk()
    if lot.custodian_id != fiona.pk:
        passing = Passing(lot.number, bench.weighed(lot.gross_mg))
        counter = builders.place("COUNTER")
        hand_over(lots=[passing], to_person=fiona, to_place=counter, at=timezone.now(), by=lot.custodian)
    send_back(
        receipt=lot.created_by,
        parcels=[GoingBack(lot.number, bench.weighed(lot.gross_mg))],
        reason="No agreement on the price",
        collected=builders.COLLECTED,
        at=timezone.now(),
        by=fiona,
    )


def undo(bench: Bench) -> None:
    steps = Operation.objects.filter(kind__in=(Kind.MELT, Kind.SAMPLE)).order_by("-id")[:3]
    if steps:
        one = bench.random.choice(list(steps))
        reverse(operation=one, reason="Entered wrongly", at=timezone.now(), by=people.otto_operator())


STEPS = {
    "melt": melt, "draw": draw, "draw again": draw, "consume": consume, "return": give_back, "seal": seal,
    "value": value, "accept later": accept_later, "clear": clear, "carry": carry, "undo": undo,
    "pass on": pass_on, "go back": go_back,
}  # fmt: skip
WORK = st.lists(st.tuples(st.sampled_from(list(STEPS)), st.integers(0, 2**32)), min_size=6, max_size=25)


@pytest.fixture
def scratch(db):
    """Gives a transaction that is rolled back, for one history; actions may open their durable ones inside it."""

    def make():
        block = transaction.atomic()
        block._from_testcase = True
        return block

    return make


def delivered() -> None:
    """Three parcels of one receipt, two of one origin, and one of another receipt, in the sampler's hands."""
    builders.places()
    builders.scale(SCALE)
    alike = {"mine": "Lark Creek", "country": "CA"}
    lots = builders.received(
        builders.parcel(1_000_000, **alike), builders.parcel(500_001, **alike), builders.parcel(70_000)
    )
    for lot in lots + builders.received(300_000):
        builders.handed_over(lot, people.sam_sampler())


def work(history) -> Bench:
    bench = Bench(Random())
    nameless = []
    for name, seed in history:
        bench.random = Random(f"{name}{seed}")
        try:
            STEPS[name](bench)
        except (Refusal, Refused) as refusal:
            bench.refused[type(refusal).__name__] += 1
            nameless += [] if refusal.field else [f"{name}: {refusal!r}"]
        else:
            bench.done[name] += 1
    assert not nameless, "a refusal names the field that is to be mended"
    return bench


def assert_received_is_somewhere() -> None:
    """What deliveries held is in lots, went back, or was lost by a cause: of every metal, to the milligram."""
    for metal in METALS:
        field = f"{metal.lower()}_mg"
        held = sum(Lot.objects.values_list(field, flat=True))
        lost = sum(
            getattr(line, field)
            for operation in Operation.objects.all()
            for line in operation.movements.filter(side="loss")
        )
        back = sum(
            getattr(line, field)
            for operation in Operation.objects.filter(kind=Kind.DISPATCH)
            for line in operation.movements.filter(side="in")
        )
        assert held + lost + back == sum(OriginReceipt.objects.values_list(field, flat=True)), metal


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(history=WORK)
def test_any_order_of_the_sampler_s_work(scratch, history):
    note(f"history = {history}")
    with scratch():
        delivered()
        bench = work(history)
        note(f"done {dict(bench.done)}, refused {dict(bench.refused)}")
        findings = verify()
        assert findings.ok, findings.as_document()
        assert_received_is_somewhere()
        transaction.set_rollback(True)


def test_the_work_is_not_all_refused(scratch):
    """A long history does every step at least once, so that the one above proves something."""
    random = Random(20)
    *usual, last = STEPS  # what goes back is gone: it comes at the end of a long day
    history = [(name, random.randint(0, 2**32)) for _ in range(14) for name in usual]
    history += [(last, random.randint(0, 2**32)) for _ in range(14)]
    with scratch():
        delivered()
        bench = work(history)
        assert set(bench.done) == set(STEPS), (bench.done, bench.refused)
        assert verify().ok, verify().as_document()
        made = Operation.objects.filter(kind=Kind.SAMPLE, created_lots__isnull=False).exclude(
            created_lots__form=Form.SAMPLE
        )
        assert made.exists(), "a remainder went back to its lot"
        transaction.set_rollback(True)
