"""Amounts of metal bought at the counter, against plain fractions and by hand."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.purchase import amount, formula
from custody.calc.refusals import Refused

PPM_VALUES = st.integers(1, 1_000_000)
PRICES = st.integers(1, 10**9).map(lambda units: Decimal(units).scaleb(-4))


@pytest.mark.parametrize(
    ("net_mg", "ppm", "price", "payable", "due"),
    [
        # 12.340 × 0.585 × 52.10 × 0.92 = 346.0163148, by hand
        (12_340, 585_000, "52.10", 920_000, "346.02"),
        (1_000, 1_000_000, "0.005", 1_000_000, "0.00"),  # half a cent goes to the even one
        (3_000, 1_000_000, "0.005", 1_000_000, "0.02"),
        (1, 1, "0.0001", 1, "0.00"),
    ],
)
def test_amounts_by_hand(net_mg, ppm, price, payable, due):
    assert amount(net_mg, ppm, Decimal(price), payable) == Decimal(due)


@given(st.integers(1, 10**8), PPM_VALUES, PRICES, PPM_VALUES)
def test_rounded_once_half_to_even(net_mg, ppm, price, payable):
    exact = Fraction(net_mg, 1000) * Fraction(ppm, 10**6) * Fraction(price) * Fraction(payable, 10**6)
    assert amount(net_mg, ppm, price, payable) == Decimal(round(exact * 100)).scaleb(-2)  # round() is half to even


def test_the_formula_can_be_redone_on_a_pocket_calculator():
    told = formula(12_340, 585_000, Decimal("52.1"), 920_000, "EUR")
    assert told == "12.340 g × 0.585 × 52.10 EUR/g × 0.92 = 346.02 EUR"
    assert round(Fraction("12.340") * Fraction("0.585") * Fraction("52.10") * Fraction("0.92"), 2) == Fraction("346.02")


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"net_mg": 0}, "gross"),
        ({"indicated_ppm": 0}, "indicated"),
        ({"indicated_ppm": 1_000_001}, "indicated"),
        ({"payable_ppm": -1}, "payable"),
        ({"price_per_g": Decimal(0)}, "price"),
        ({"price_per_g": Decimal("0.00001")}, "price"),
        ({"price_per_g": Decimal("NaN")}, "price"),
    ],
)
def test_what_is_no_purchase_is_refused(changes, field):
    told = {"net_mg": 1, "indicated_ppm": 1, "price_per_g": Decimal(1), "payable_ppm": 1} | changes
    with pytest.raises(Refused) as refused:
        amount(**told)
    assert refused.value.field == field
