"""The whole plant at random, through its real actions: whatever order its work takes, the book examines clean, every
refusal names its field, metals balance, parcels are found again by their fates, and origins are those of a solve."""

from random import Random

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import HealthCheck, given, note, settings
from hypothesis import strategies as st

from custody.models import Lot, OriginReceipt
from custody.queries import trace
from custody.queries.balance import balance
from custody.queries.verify import verify
from custody.terms import COLUMNS, METALS
from tests.simulation.shop import STEPS, Shop, lay_out
from tests.simulation.solved import assert_origins_agree

WORK = st.lists(st.tuples(st.sampled_from(list(STEPS)), st.integers(0, 2**32)), min_size=8, max_size=40)


@pytest.fixture
def scratch(db):
    """Gives a transaction that is rolled back, for one history; actions may open their durable ones inside it."""

    def make():
        block = transaction.atomic()
        block._from_testcase = True
        return block

    return make


def assert_sound(shop: Shop) -> None:
    assert not shop.nameless, "a refusal names the field that is to be mended"
    findings = verify()
    assert findings.ok, findings.as_document()
    today = timezone.localdate()
    for column, sums in balance(today, today).columns.items():
        assert sums.unexplained == 0, column
        held = sum(lot.columns_mg[COLUMNS.index(column)] for lot in Lot.objects.filter(gross_mg__gt=0))
        assert sums.closing == held, column
    for parcel in Lot.objects.filter(parcel__isnull=False):
        got = [row.metals_mg for row in OriginReceipt.objects.filter(origin__lot=parcel)]
        fates = trace.forward_document(parcel, graph=False)["metals"]
        for metal, received in zip(METALS, map(sum, zip(*got, strict=True)), strict=True):
            assert fates.get(metal, {}).get("total_mg", 0) == received, (parcel.number, metal)
            assert all(fate["mg"] > 0 for fate in fates.get(metal, {}).get("fates", [])), parcel.number
    assert_origins_agree()


@settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(history=WORK)
def test_any_order_of_the_plant_s_work(scratch, history):
    note(f"history = {history}")
    with scratch():
        lay_out()
        shop = Shop()
        shop.work(history)
        note(f"done {dict(shop.done)}, refused {dict(shop.refused)}")
        assert_sound(shop)
        transaction.set_rollback(True)


def test_a_long_day_does_everything(scratch):
    """Every step is done at least once, so that the one above proves something."""
    random = Random(4)
    history = [(name, random.randint(0, 2**32)) for _ in range(16) for name in random.sample(list(STEPS), len(STEPS))]
    with scratch():
        lay_out()
        shop = Shop()
        shop.work(history)
        assert set(shop.done) == set(STEPS), (dict(shop.done), dict(shop.refused))
        assert_sound(shop)
        transaction.set_rollback(True)
