"""A day's flow: every place's figures add up, agree with the balance, and with what stood there when the day ended."""

from collections import defaultdict
from datetime import timedelta
from random import Random

import pytest
from django.utils import timezone

from custody.actions.work import Add, Lose, Make, Take, record_step, reverse
from custody.models import Lot, Operation
from custody.queries.balance import balance
from custody.queries.day_flow import day_flow
from custody.terms import COLUMNS, Addition, Cause, Form, Kind
from tests import builders, people

pytestmark = pytest.mark.django_db
NOTHING = (0,) * len(COLUMNS)


def standing():
    """What stands where now, by place: gross and metals."""
    sums = defaultdict(lambda: list(NOTHING))
    for lot in Lot.objects.filter(gross_mg__gt=0).select_related("place"):
        sums[lot.place.code] = [a + b for a, b in zip(sums[lot.place.code], lot.columns_mg, strict=True)]
    return {code: tuple(mgs) for code, mgs in sums.items()}


def closings(found):
    return {one.place.code: tuple(one.closing) for one in found.places if any(one.closing)}


def openings(found):
    return {one.place.code: tuple(one.opening) for one in found.places if any(one.opening)}


def examine(day):
    """The identities of one day, against the balance of the same day; gives its flow."""
    found, book = day_flow(day, people.adam_auditor()), balance(day, day)
    for number, name in enumerate(COLUMNS):
        column = book.columns[name]
        assert sum(one.opening[number] for one in found.places) == column.opening, name
        assert sum(one.closing[number] for one in found.places) == column.closing, name
        assert all(one.opening[number] >= 0 <= one.closing[number] for one in found.places), name
        crossed = {(end.kind, end.word): came - went for end, came, went in found.crossed(number)}
        assert crossed.pop(("parcel", "received"), 0) == column.received, name
        assert -crossed.pop(("dispatched", "dispatched"), 0) == column.dispatched, name
        assert crossed.pop(("difference", str(Cause.DIFFERENCE)), 0) == column.differences, name
        losses = {word: -mg for (kind, word), mg in crossed.items() if kind == "loss" and mg}
        assert losses == {cause: mg for cause, mg in column.losses.items() if mg}, name
        assert sum(mg for (kind, _), mg in crossed.items() if kind == "added") == column.added, name
        done = defaultdict(int)
        for (_, what), mgs in found.sources.items():
            done[what] += mgs[number]
        for (what, _), mgs in found.targets.items():
            done[what] -= mgs[number]
        assert not any(done.values()), "what was done gives what it took"
    return found


def melted(lots, lost, at):
    gross = sum(lot.gross_mg for lot in lots)
    metals = {metal: sum(getattr(lot, f"{metal.lower()}_mg") for lot in lots) for metal in ("Au", "Ag")}
    posted = record_step(
        kind=Kind.MELT, inputs=[Take(lot.number) for lot in lots], at=at, by=people.otto_operator(),
        outputs=[Make(Form.MELT, gross - lost, metals)], losses=(Lose(Cause.SLAG, lost),),
    )  # fmt: skip
    return builders.fresh(posted.lots[0])


def test_three_days_stand_as_they_stood():
    """Receipts, handovers, a melt, a run drawn, a reversal; each day closes as it was seen that evening."""
    builders.places()
    now = timezone.now()
    days, seen = [now - timedelta(days=2), now - timedelta(days=1), now], []
    lots = builders.ready(300, 200, at=days[0])
    builders.received(500_000, at=days[0])
    seen.append(standing())
    melt = melted(lots, 1_000, days[1])
    builders.handed_over(melt, people.vera_vault(), "STRONG", at=days[1] + timedelta(minutes=1))
    seen.append(standing())
    back = builders.handed_over(builders.fresh(melt.number), people.otto_operator(), "SHOP", at=days[2])
    charged = record_step(
        kind=Kind.CHARGE, step=Kind.DISSOLVE, inputs=[Take(back.number)], at=timezone.now(), by=people.otto_operator(),
        additions=(Add(Addition.ACID, 900_000),),
        outputs=[Make(Form.IN_PROCESS, 1_399_000, {"Au": back.au_mg, "Ag": back.ag_mg}, vessel="VESSEL-1")],
    )  # fmt: skip
    drawn = record_step(
        kind=Kind.DRAW, inputs=[Take(charged.lots[0], 399_000, {"Au": 399_000})], at=timezone.now(),
        by=people.otto_operator(), outputs=[Make(Form.GOLD_SAND, 399_000, {"Au": 399_000}, place="SHOP")],
    )  # fmt: skip
    reverse(
        operation=Operation.objects.get(pk=drawn.id), reason="Drawn twice", at=timezone.now(), by=people.otto_operator()
    )
    seen.append(standing())
    before = {}
    for at, evening in zip(days, seen, strict=True):
        found = examine(timezone.localdate(at))
        assert closings(found) == evening
        assert openings(found) == before
        before = evening
    gold = COLUMNS.index("Au")
    (shop,) = [one for one in found.places if one.place.code == "SHOP"]
    assert (shop.opening[gold], shop.came[gold], shop.went[gold], shop.closing[gold]) == (
        0, 400_000 + 399_000, 400_000 + 399_000, 0,
    )  # fmt: skip


def test_a_loss_a_gain_and_a_bar_are_told_apart():
    bar = builders.bar("A000009", grams=500)
    builders.handed_over(bar, people.vera_vault(), "VAULT")
    (lot,) = builders.ready(100)
    melted([lot], 500, timezone.now())
    found = examine(timezone.localdate())
    gold = COLUMNS.index("Au")
    to_bars = {(done, end.word): mgs[gold] for (done, end), mgs in found.targets.items() if end.kind == "bar"}
    assert {way: mg for way, mg in to_bars.items() if mg} == {
        ("cast", "SHOP"): 499_950,
        ("handed over", "VAULT"): 499_950,
    }


@pytest.mark.parametrize("seed", range(3))
def test_random_days_add_up(seed):
    """Lots received, handed on, melted together, whole days apart, in any order."""
    chance = Random(seed)
    builders.places()
    start = timezone.now() - timedelta(days=4)
    days = set()
    hands = {"STRONG": people.vera_vault(), "SHOP": people.otto_operator()}
    for step in range(5):
        at = start + timedelta(hours=20 * step)
        days.add(timezone.localdate(at))
        mine = builders.ready(*(chance.randint(1, 900) for _ in range(chance.randint(1, 2))), at=at)
        if chance.random() < 0.6:
            mine = [melted(mine, chance.randint(1, 100), at)]
        if chance.random() < 0.6:
            where = chance.choice(sorted(hands))
            builders.handed_over(mine[0], hands[where], where, at=at)
    for day in days:
        examine(day)
