"""Estimates at the counter: a range, and never more than declared."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.estimate import declared_fineness, declared_karat, estimate, parse_declared
from custody.calc.fineness import KARAT_MARKS, fine_mg
from custody.calc.mass import parse_grams
from custody.calc.refusals import Refused, Unreadable
from tests.calc.published import cases


@pytest.mark.parametrize("case", cases("estimate", "estimates"), ids=lambda case: case["declared"])
def test_estimates(case):
    found = estimate(parse_grams(case["net_g"]), parse_declared(case["declared"]))
    assert (found.low_mg, found.high_mg) == (parse_grams(case["low_g"]), parse_grams(case["high_g"]))


@pytest.mark.parametrize("text", ["18k", "18 K", "18kt", "18 ct", "18 Carat", "18karat", " 18.0k "])
def test_karat_is_understood(text):
    assert parse_declared(text) == declared_karat(180)


def test_silver_by_fineness():
    declared = parse_declared("925", metal="Ag")
    assert declared == declared_fineness(925_000, "Ag")
    assert estimate(100_000, declared).metal == "Ag"


def test_it_says_that_it_is_an_estimate():
    assert estimate(10_000, parse_declared("18k")).sentence == (
        "Estimate only, from 18 karat as declared: 7.430 to 7.500 g of fine Au. The assay decides."
    )


@pytest.mark.parametrize("text", ["18", "24", "9", "22.5", "24.0"])
def test_karat_or_per_mille_is_not_guessed(text):
    with pytest.raises(Unreadable, match=f"Write {text}k, or {text} ‰"):
        parse_declared(text)


@pytest.mark.parametrize(
    "text",
    ["", "k", "gold", "18kk", "25k", "0k", "-18k", "18,5k", "18.25k", "1e3", "nan", "1001", "0", "101 %", "9" * 50,
     "750 g", "75%%", "‰", "1 8k", None],
)  # fmt: skip
def test_what_is_not_understood(text):
    with pytest.raises(Refused) as refusal:
        parse_declared(text)
    assert refusal.value.field in ("declared", "karat")


def test_karat_is_said_of_gold():
    with pytest.raises(Refused, match="Karat is said of gold"):
        parse_declared("18k", metal="Ag")


@pytest.mark.parametrize("karat", KARAT_MARKS)
def test_mark_and_exact_share_of_a_karat_are_in_its_range(karat):
    declared = declared_karat(karat * 10)
    assert declared.low_ppm < min(KARAT_MARKS[karat], karat * 1_000_000 // 24)
    assert declared.high_ppm >= max(KARAT_MARKS[karat], karat * 1_000_000 // 24)


@given(st.integers(0, 10**9), st.integers(1, 1_000_000))
def test_never_more_than_declared(net, ppm):
    found = estimate(net, declared_fineness(ppm))
    assert 0 <= found.low_mg <= found.high_mg <= fine_mg(net, ppm)


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: declared_fineness(0), "declared"),
        (lambda: declared_fineness(1_000_001), "declared"),
        (lambda: declared_fineness(1, "Fe"), "metal"),
        (lambda: declared_karat(0), "karat"),
        (lambda: declared_karat(241), "karat"),
        (lambda: estimate(-1, declared_karat(180)), "gross"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field
