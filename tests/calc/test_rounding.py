"""Named roundings against the decimal module's."""

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.rounding import down, half_even, half_up, root_half_even, root_to_places, to_places

numerators = st.integers(-(10**15), 10**15)
denominators = st.integers(1, 10**6)


@given(numerators)
def test_halves_go_where_the_decimal_module_sends_them(n):
    half = Decimal(n) / 2
    assert half_even(n, 2) == half.quantize(Decimal(1), ROUND_HALF_EVEN)
    assert half_up(n, 2) == half.quantize(Decimal(1), ROUND_HALF_UP)


@given(numerators, denominators)
def test_the_nearest_whole_number(n, d):
    assert half_even(n, d) == round(Fraction(n, d))
    assert abs(half_up(n, d) - Fraction(n, d)) <= Fraction(1, 2)


@given(st.integers(0, 10**15), denominators, st.integers(1, 1000))
def test_down_to_a_step(n, d, step):
    rounded = down(n, d, step=step)
    assert rounded % step == 0
    assert rounded <= Fraction(n, d) < rounded + step


@given(st.integers(0, 10**30), denominators)
def test_roots_are_those_of_the_decimal_module(n, d):
    with localcontext(prec=60):
        exact = (Decimal(n) / Decimal(d)).sqrt()
        assert abs(root_half_even(n, d) - exact) <= Decimal("0.5")
        assert root_to_places(Fraction(n, d), 3) == exact.quantize(Decimal("0.001"), ROUND_HALF_EVEN)


@pytest.mark.parametrize(
    ("n", "d", "root"), [(0, 1, 0), (1, 4, 0), (9, 4, 2), (25, 4, 2), (49, 4, 4), (2, 1, 1), (3, 1, 2)]
)
def test_roots_that_are_halves_go_to_the_even_number(n, d, root):
    assert root_half_even(n, d) == root


@given(numerators, denominators, st.integers(0, 6))
def test_decimals_are_the_nearest(n, d, places):
    assert abs(Fraction(to_places(Fraction(n, d), places)) - Fraction(n, d)) <= Fraction(1, 2 * 10**places)


def test_decimals_are_shown_even_when_they_are_zero():
    assert str(to_places(Fraction(3), 2)) == "3.00"
    assert str(root_to_places(Fraction(4), 1)) == "2.0"
