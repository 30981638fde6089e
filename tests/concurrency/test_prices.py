"""Two accountants at one table of prices: a day has one price, whoever is first, and each is judged by what stands."""

from decimal import Decimal

import pytest
from django.utils import timezone

from custody.models import Price
from tests import people
from tests.prices import day, entered

PRICE = """
INSERT INTO custody_price (metal, currency, fixing, day, amount, per, source, reason, limit_ppm, doubtful, by_id, at)
VALUES ('Au', 'USD', 'daily', %s, %s, 'ozt', 'sheet', '', 0, false, %s, %s) RETURNING 'kept'
"""
JUDGE = "custody_judge_price()"


@pytest.fixture
def asked(committed_db):
    """Eight times the price of one day, after the price of the day before."""
    matt, now = people.matt_accountant(), timezone.now()
    entered("2000", ago=1)
    return [(PRICE, (day(), Decimal(2000 + number), matt.pk, now)) for number in range(8)]


def test_a_day_has_one_price(asked, writers, sound):
    assert sorted(writers(asked)) == ["kept", *["price_stands"] * 7]
    assert Price.objects.count() == 2


def test_control_without_the_lock_only_the_index_holds(asked, writers, rewritten):
    rewritten(JUDGE, "PERFORM custody_lock_prices(NEW);", "", "RETURN NEW;", "PERFORM pg_sleep(0.3); RETURN NEW;")
    assert sorted(set(writers(asked))) == ["kept", "one_first_price"]
