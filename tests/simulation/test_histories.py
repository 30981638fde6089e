"""Random histories through the door of history: the book agrees with the plant's own books, to the milligram or as far
as rounding may reach, and an examination of the whole book finds nothing."""

from collections import defaultdict
from random import Random

import networkx
import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from custody.models import Lot, OriginReceipt
from custody.queries import trace
from custody.queries.verify import verify
from custody.terms import METALS
from tests.simulation import runs, work
from tests.simulation.plant import Plant

STEPS = {
    "receive": work.receive,
    "value": work.value,
    "revalue": work.revalue,
    "melt": work.melt,
    "melt unvalued": work.melt_unvalued,
    "recover": work.recover,
    "cast": work.cast,
    "divide": work.divide,
    "sample": work.sample,
    "dispatch": work.dispatch,
    "difference": work.difference,
    "reverse": work.reverse,
    "charge": runs.charge,
    "draw": runs.draw,
    "assay drawn": runs.assay_drawn,
    "finish": runs.finish,
}
DAYS_WORK = st.lists(st.tuples(st.sampled_from(list(STEPS)), st.integers(0, 2**32)), min_size=10, max_size=60)


@pytest.fixture
def scratch(db):
    """Gives a transaction that is rolled back, for one history; actions may open their durable ones inside it."""

    def make():
        block = transaction.atomic()
        block._from_testcase = True
        return block

    return make


def lived(history):
    """A plant after a history; it begins with three receipts, or little would happen."""
    plant = Plant()
    for name, seed in [("receive", 1), ("receive", 2), ("receive", 3), *history]:
        STEPS[name](plant, Random(f"{name}{seed}"))
    return plant


def assert_books_agree(plant):
    book = {lot.number: lot for lot in Lot.objects.all()}
    assert book.keys() == plant.lots.keys()
    for number, mine in plant.lots.items():
        assert list(book[number].columns_mg) == mine.book, number
        assert not mine.book[0] or book[number].valued == mine.valued, number


def assert_origins_agree(plant):
    shares = plant.graph.solve()
    for lot in Lot.objects.filter(gross_mg__gt=0):
        mine = plant.lots[lot.number]
        told = defaultdict(lambda: defaultdict(int))
        for share in trace.origins_of(lot):
            told[share.metal][share.origin] += share.mg
        columns = range(1, 6) if mine.valued else (0,)
        for column in columns:
            metal = ("gross", *METALS)[column]
            assert sum(told[metal].values()) == mine.book[column], (lot.number, metal)
            assert min(told[metal].values(), default=1) > 0
            for origin, place in plant.graph.origins.items():
                exact = shares[column][mine.node][place] * mine.book[column]
                off = abs(told[metal][origin] - exact)
                assert off <= mine.reach + 1e-6, (lot.number, metal, origin, told[metal][origin], exact, mine.reach)
        assert set(trace.ancestors_of(lot)) == networkx.ancestors(plant.lot_graph, lot.number)


def assert_every_parcel_is_accounted_for(plant):
    for number in plant.received:
        lot = Lot.objects.get(number=number)
        got = [
            sum(column)
            for column in zip(*(r.metals_mg for r in OriginReceipt.objects.filter(origin__lot=lot)), strict=True)
        ]
        fates = trace.forward_document(lot, graph=False)["metals"]
        assert [fates.get(metal, {}).get("total_mg", 0) for metal in METALS] == got, number
        assert all(fate["mg"] > 0 for metal in fates.values() for fate in metal["fates"]), number
        assert set(trace.descendants_of(lot)) == networkx.descendants(plant.lot_graph, number)


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(history=DAYS_WORK)
def test_a_random_history(scratch, history):
    note(f"history = {history}")
    with scratch():
        plant = lived(history)
        note(f"recorded {dict(plant.recorded)}, refused {dict(plant.refused)}")
        assert_books_agree(plant)
        assert_origins_agree(plant)
        assert_every_parcel_is_accounted_for(plant)
        findings = verify()
        assert findings.ok, findings.as_document()
        transaction.set_rollback(True)
