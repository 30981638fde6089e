"""Named roundings against the decimal module's."""

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from custody.calc.rounding import down, half_even, half_up

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
