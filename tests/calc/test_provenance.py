"""The origin rule: exact sums, nothing negative, every figure next to its exact share."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.provenance import merge, spread, spread_metals, spread_origins
from custody.calc.refusals import Refused


@st.composite
def spreads(draw, most_origins=12):
    """A pool and amounts of the same total: milligrams, kilograms, equal bars, zeros among them."""
    size = draw(st.sampled_from([3, 50, 10**4, 10**8]))
    pool = draw(st.lists(st.integers(0, size), min_size=1, max_size=most_origins))
    total = sum(pool)
    if draw(st.booleans()):
        bars = draw(st.integers(1, 40))
        return pool, [*[total // bars] * (bars - 1), total - total // bars * (bars - 1)]
    cuts = sorted(draw(st.lists(st.integers(0, total), max_size=15)))
    return pool, [after - before for before, after in zip([0, *cuts], [*cuts, total], strict=True)]


def off(pool, amounts, rows):
    """How far each figure lies from its exact share, row by row."""
    total = sum(pool) or 1
    return [
        [abs(mg - Fraction(whole * amount, total)) for whole, mg in zip(pool, row, strict=True)]
        for amount, row in zip(amounts, rows, strict=True)
    ]


@given(spreads())
def test_rows_and_columns_sum_exactly(case):
    pool, amounts = case
    rows = spread(pool, amounts)
    assert [sum(row) for row in rows] == amounts
    assert [sum(column) for column in zip(*rows, strict=True)] == pool
    assert min(min(row) for row in rows) >= 0


@given(spreads(most_origins=2))
def test_two_origins_are_always_within_a_milligram(case):
    pool, amounts = case
    errors = off(pool, amounts, spread(pool, amounts))
    assert all(error < 1 for row in errors for error in row)
    assert all(error <= Fraction(1, 2) for error in errors[-1])


@given(spreads(most_origins=3))
def test_three_origins_are_never_more_than_a_milligram_off(case):
    pool, amounts = case
    assert all(error <= 1 for row in off(pool, amounts, spread(pool, amounts)) for error in row)


@given(spreads())
def test_many_origins_stay_close(case):
    """1.2 mg is the worst that a long search for bad amounts found; ordinary amounts stay within one."""
    pool, amounts = case
    assert all(error < Fraction(3, 2) for row in off(pool, amounts, spread(pool, amounts)) for error in row)


@pytest.mark.parametrize(
    ("pool", "amounts", "last"),
    [
        ([7, 7, 1, 7, 10, 1, 10, 7], [5, 11, 2, 5, 21, 6], Fraction(6, 5)),
        ([7, 40, 40, 18, 18, 39, 8], [16, 85, 69], Fraction(197, 170)),
    ],
)
def test_the_worst_that_was_found(pool, amounts, last):
    """Amounts chosen to provoke it: only the last figure is more than a milligram off, and this much."""
    errors = off(pool, amounts, spread(pool, amounts))
    assert max(errors[-1]) == last
    assert all(error <= 1 for row in errors[:-1] for error in row)


@pytest.mark.parametrize("first", [1, 123_457, 640_123, 6_220_000, 12_439_999])
def test_400_bars_from_a_melt_of_two_origins(first):
    total = 12_440_000
    pool = [first, total - first]
    amounts = [31_100] * 400
    errors = off(pool, amounts, spread(pool, amounts))
    assert max(error for row in errors for error in row) < 1


def test_a_contribution_smaller_than_the_bars_still_arrives_somewhere():
    """One milligram in four hundred bars: exactly one of them carries it, nearest the middle of its share."""
    rows = spread([1, 399_999], [1000] * 400)
    assert [row[0] for row in rows].count(1) == 1
    assert rows[200][0] == 1 or rows[199][0] == 1


@pytest.mark.parametrize(
    ("pool", "amounts", "rows"),
    [
        # Halves: the tie goes to the origin received first, then the other is further behind.
        ([2, 2], [1, 1, 1, 1], [[1, 0], [0, 1], [1, 0], [0, 1]]),
        ([1, 1, 1], [1, 1, 1], [[1, 0, 0], [0, 1, 0], [0, 0, 1]]),
        # Exact shares 1.8 and 1.2, then 3.0 and 2.0 in total.
        ([6, 4], [3, 2, 5], [[2, 1], [1, 1], [3, 2]]),
        # 0.75 and 0.25 each: the deficit decides, not the share of the single output.
        ([3, 1], [1, 1, 1, 1], [[1, 0], [1, 0], [0, 1], [1, 0]]),
        # A zero amount takes nothing; a zero origin gives nothing.
        ([5, 0, 5], [0, 10, 0], [[0, 0, 0], [5, 0, 5], [0, 0, 0]]),
        ([0, 0], [0, 0], [[0, 0], [0, 0]]),
        # The first origin's share of the third output is 6.0, but only 5 are left of it.
        (
            [12, 2, 5, 2, 2, 5],
            [9, 5, 14, 0],
            [[4, 1, 1, 1, 1, 1], [3, 0, 1, 0, 0, 1], [5, 1, 3, 1, 1, 3], [0, 0, 0, 0, 0, 0]],
        ),
        ([7], [3, 4], [[3], [4]]),
        ([], [0], [[]]),
        ([], [], []),
    ],
)
def test_worked_by_hand(pool, amounts, rows):
    assert spread(pool, amounts) == rows


@pytest.mark.parametrize(
    ("pool", "amounts"), [([5], [6]), ([5], [4]), ([5], []), ([], [1]), ([-1, 2], [1]), ([2], [3, -1])]
)
def test_refused(pool, amounts):
    with pytest.raises(Refused):
        spread(pool, amounts)


def test_origins_are_served_in_the_order_received_however_they_come():
    shares = spread_origins({9: 1, 2: 1, 5: 0}, [1, 1])
    assert shares == [{2: 1}, {9: 1}]


def test_a_contribution_that_rounds_to_zero_drops_out():
    assert spread_origins({1: 1, 2: 999}, [10, 990]) == [{2: 10}, {1: 1, 2: 989}]


def test_several_metals():
    pools = {"Au": {1: 600, 2: 400}, "Ag": {2: 10}}
    amounts = [{"Au": 500, "Ag": 4}, {"Au": 500, "Ag": 5}, {"Ag": 1}]
    assert spread_metals(pools, amounts) == [
        {"Au": {1: 300, 2: 200}, "Ag": {2: 4}},
        {"Au": {1: 300, 2: 200}, "Ag": {2: 5}},
        {"Au": {}, "Ag": {2: 1}},
    ]


@pytest.mark.parametrize("amounts", [[{"Au": 999}], [{"Au": 1000, "Pt": 1}]])
def test_a_metal_that_does_not_balance_is_named(amounts):
    with pytest.raises(Refused, match=r"^(Au|Pt): The origins sum to") as refusal:
        spread_metals({"Au": {1: 1000}}, amounts)
    assert refusal.value.field in {"Au", "Pt"}


def test_merge():
    assert merge([{3: 5, 1: 2}, {}, {2: 0, 1: 1}]) == {1: 3, 3: 5}
    assert list(merge([{3: 5}, {1: 2}])) == [1, 3]


@given(st.lists(st.dictionaries(st.integers(1, 9), st.integers(0, 10**9)), max_size=6))
def test_merge_loses_nothing(vectors):
    assert sum(merge(vectors).values()) == sum(sum(vector.values()) for vector in vectors)
