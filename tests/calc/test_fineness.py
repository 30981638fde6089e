"""Fineness in parts per million, karats and marks."""

from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc import fineness
from custody.calc.mass import parse_grams
from custody.calc.refusals import Refused
from tests.calc.published import cases

finenesses = st.integers(0, 1_000_000)


@pytest.mark.parametrize(
    ("text", "ppm"), [("999.9", 999_900), ("585", 585_000), ("916.667", 916_667), ("1000", 1_000_000), ("0.001", 1)]
)
def test_per_mille(text, ppm):
    assert fineness.parse_per_mille(text) == ppm


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("999,9", "comma"),
        ("99.99 %", "plain number"),
        ("1000.001", "more than 1000 per mille"),
        ("0", "zero"),
        ("-1", "negative"),
        ("999.9999", "more than 3 decimals"),
        ("1e3", "exponent"),
        ("nan", "not a number"),
        ("", "missing"),
        ("9" * 10_000, "10000 characters"),
    ],
)
def test_per_mille_refused(text, why):
    with pytest.raises(Refused, match=why) as refusal:
        fineness.parse_per_mille(text)
    assert refusal.value.field == "fineness"


@pytest.mark.parametrize(
    ("text", "ppm"), [("98", 980_000), ("98.5", 985_000), ("99.9555", 999_555), ("0", 0), ("100", 1_000_000)]
)
def test_percent(text, ppm):
    assert fineness.parse_percent(text) == ppm


@pytest.mark.parametrize(
    ("text", "why"), [("100.0001", "more than 100 per cent"), ("98.12345", "more than 4 decimals"), ("98,5", "comma")]
)
def test_percent_refused(text, why):
    with pytest.raises(Refused, match=why):
        fineness.parse_percent(text)


@pytest.mark.parametrize(
    ("ppm", "per_mille", "percent"),
    [
        (999_900, "999.9", "99.99"),
        (585_000, "585.0", "58.50"),
        (916_667, "916.667", "91.6667"),
        (1_000_000, "1000.0", "100.00"),
        (980_000, "980.0", "98.00"),
        (50, "0.05", "0.005"),
        (0, "0.0", "0.00"),
    ],
)
def test_written(ppm, per_mille, percent):
    assert fineness.format_per_mille(ppm) == per_mille
    assert fineness.format_percent(ppm) == percent


@given(finenesses)
def test_read_back(ppm):
    assert fineness.parse_per_mille(fineness.format_per_mille(ppm), allow_zero=True) == ppm
    assert fineness.parse_percent(fineness.format_percent(ppm)) == ppm


@pytest.mark.parametrize("case", cases("fineness", "commercial_marks"))
def test_commercial_marks(case):
    assert fineness.karat_mark_ppm(case["karat"]) == fineness.parse_per_mille(case["mark"])


@pytest.mark.parametrize("case", cases("fineness", "exact_karats"))
def test_exact_karats(case):
    assert fineness.karat_ppm(case["karat"]) == case["ppm"]


@pytest.mark.parametrize("karat", [0, -9, 11, 24, 25])
def test_karats_without_one_mark(karat):
    with pytest.raises(Refused, match="mark"):
        fineness.karat_mark_ppm(karat)


@pytest.mark.parametrize("karat", [0, -1, 25])
def test_karats_that_do_not_exist(karat):
    with pytest.raises(Refused, match="24 karat"):
        fineness.karat_ppm(karat)


def test_parts_of_a_karat():
    assert fineness.karat_ppm(35, parts=2) == fineness.parse_per_mille("729.167")


@pytest.mark.parametrize("case", cases("fineness", "floor_to_standard"))
def test_floor_to_standard(case):
    standards = [fineness.parse_per_mille(text) for text in case["standards"]]
    actual = fineness.parse_per_mille(case["per_mille"])
    assert fineness.standard_at_or_below(actual, standards) == fineness.parse_per_mille(case["mark"])


def test_below_every_standard():
    with pytest.raises(Refused, match=r"332\.999 reaches no standard; the lowest is 333\.0"):
        fineness.standard_at_or_below(332_999, fineness.STANDARDS["Au"])


@pytest.mark.parametrize("case", cases("fineness", "fine_of_gross"))
def test_fine_of_gross(case):
    fine = fineness.fine_mg(parse_grams(case["gross_g"]), fineness.parse_per_mille(case["per_mille"]))
    assert fine == parse_grams(case["fine_g"])


@given(st.integers(0, 10**11), finenesses)
def test_fine_is_rounded_half_to_even_once(gross, ppm):
    exact = Decimal(gross) * Decimal(ppm) / Decimal(1_000_000)
    fine = fineness.fine_mg(gross, ppm)
    assert fine == exact.quantize(Decimal(1), ROUND_HALF_EVEN)
    assert 0 <= fine <= gross


@pytest.mark.parametrize(("gross", "fine"), [(1, 0), (3, 2), (5, 2), (7, 4)])
def test_halves_to_even(gross, fine):
    assert fineness.fine_mg(gross, 500_000) == fine


@pytest.mark.parametrize(("gross", "ppm"), [(-1, 500_000), (1, -1), (1, 1_000_001)])
def test_fine_refused(gross, ppm):
    with pytest.raises(Refused):
        fineness.fine_mg(gross, ppm)
