"""Figures as screens show them."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from custody.templatetags import metal


@pytest.mark.parametrize(
    ("mg", "shown"),
    [(1_234_567, "1\u202f234.567"), (1, "0.001"), (0, "0.000"), (-5, "\u22120.005"), (None, "—")],
)
def test_grams(mg, shown):
    assert metal.grams(mg) == shown


def test_kilograms_and_ounces():
    assert metal.kilograms(12_345_678) == "12.346"
    # 400 oz t = 12 441.390 72 g: 1 oz t = 31.1034768 g exactly
    assert metal.ounces(12_441_391) == "400.000"
    assert (metal.kilograms(None), metal.ounces(None)) == ("—", "—")


def test_fineness():
    assert metal.permille(999_900) == "999.9\u202f‰"
    assert metal.permille_figure(916_667) == "916.667"
    assert (metal.permille(None), metal.permille_figure(None)) == ("—", "—")


@pytest.mark.parametrize(
    ("mg", "total", "shown"),
    [
        (640_123, 1_000_000, "64.01\u202f%"),
        (1, 3, "33.33\u202f%"),
        (2, 3, "66.67\u202f%"),
        (5, 100_000, "< 0.01\u202f%"),  # half of a hundredth goes to the even nought, yet it is there
        (15, 100_000, "0.02\u202f%"),
        (25, 100_000, "0.02\u202f%"),
        (0, 10, "0.00\u202f%"),
        (10, 10, "100.00\u202f%"),
        (-1, 4, "\u221225.00\u202f%"),
        (5, 0, "—"),
        (None, 10, "—"),
        (5, None, "—"),
    ],
)
def test_share(mg, total, shown):
    assert metal.percent_share(mg, total) == shown


def test_a_share_is_exact_beyond_the_digits_of_a_float():
    total = 2 * 10**40
    assert metal.percent_share(total // 20_000 * 3 + 1, total) == "0.02\u202f%"
    assert metal.percent_share(total // 20_000 * 5, total) == "0.02\u202f%"
    assert metal.percent_share(total // 20_000 * 5 + 1, total) == "0.03\u202f%"


def test_times_are_the_refinerys():
    at = datetime(2024, 7, 1, 23, 30, tzinfo=UTC)
    with timezone.override(ZoneInfo("Europe/London")):
        assert metal.local_time(at) == "2024-07-02 00:30"
        assert metal.local_day(at) == "2024-07-02"
    assert metal.instant(at.astimezone(ZoneInfo("Asia/Tokyo"))) == "2024-07-01T23:30:00+00:00"
    assert (metal.local_time(None), metal.local_day(None)) == ("—", "—")
