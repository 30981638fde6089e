"""A partial withdrawal: nothing lost, nothing created, metals within gross on both sides."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.apportion import divide, largest_remainder, withdraw
from custody.calc.refusals import Refused

parts = st.lists(st.integers(0, 10**9), min_size=6, max_size=6) | st.lists(st.integers(0, 5), min_size=6, max_size=6)


@st.composite
def withdrawals(draw):
    *metals, rest = draw(parts)
    gross = sum(metals) + rest
    return gross, tuple(metals), draw(st.integers(0, gross))


@given(withdrawals())
def test_both_halves_keep_their_metals_within_their_gross(withdrawal):
    gross, metals, taken_gross = withdrawal
    taken = withdraw(gross, metals, taken_gross)
    left = [whole - part for whole, part in zip(metals, taken, strict=True)]
    assert all(0 <= part <= whole for part, whole in zip(taken, metals, strict=True))
    assert sum(taken) <= taken_gross
    assert sum(left) <= gross - taken_gross


@given(withdrawals())
def test_no_metal_is_a_milligram_off_its_share(withdrawal):
    gross, metals, taken_gross = withdrawal
    for whole, part in zip(metals, withdraw(gross, metals, taken_gross), strict=True):
        if gross:
            assert abs(part - Fraction(whole * taken_gross, gross)) < 1


@given(parts)
def test_all_takes_all_and_nothing_takes_nothing(lot):
    *metals, rest = lot
    gross = sum(metals) + rest
    assert withdraw(gross, metals, gross) == tuple(metals)
    assert withdraw(gross, metals, 0) == (0,) * 5


@pytest.mark.parametrize(
    ("gross", "metals", "taken_gross", "taken"),
    [
        # Halves of one milligram each: ties in the order Au, Ag, Pt, Pd, Cu, rest.
        (6, (1, 1, 1, 1, 1), 3, (1, 1, 1, 0, 0)),
        (6, (1, 1, 1, 1, 1), 5, (1, 1, 1, 1, 1)),
        (2, (0, 0, 0, 0, 1), 1, (0, 0, 0, 0, 1)),
        # The larger remainder comes first, wherever it stands.
        (10, (3, 0, 0, 0, 0), 5, (2, 0, 0, 0, 0)),
        (10, (3, 6, 0, 0, 0), 3, (1, 2, 0, 0, 0)),
        (1000, (1, 0, 0, 0, 0), 499, (0, 0, 0, 0, 0)),
        (1000, (1, 0, 0, 0, 0), 500, (1, 0, 0, 0, 0)),
        (0, (0, 0, 0, 0, 0), 0, (0, 0, 0, 0, 0)),
    ],
)
def test_worked_by_hand(gross, metals, taken_gross, taken):
    assert withdraw(gross, metals, taken_gross) == taken


@pytest.mark.parametrize(
    ("gross", "metals", "taken_gross"),
    [(10, (3, 0, 0, 0, 0), 11), (10, (3, 0, 0, 0, 0), -1), (10, (8, 3, 0, 0, 0), 5), (10, (-1, 0, 0, 0, 0), 5)],
)
def test_refused(gross, metals, taken_gross):
    with pytest.raises(Refused):
        withdraw(gross, metals, taken_gross)


@given(st.integers(0, 10**12), st.lists(st.integers(0, 10**9), min_size=1, max_size=12).filter(any))
def test_largest_remainder_is_the_nearest_whole_sharing(total, weights):
    shares = largest_remainder(total, weights)
    assert sum(shares) == total
    remainders = []
    for share, weight in zip(shares, weights, strict=True):
        exact = Fraction(total * weight, sum(weights))
        assert exact - 1 < share < exact + 1
        remainders.append((exact - exact.__floor__(), share > exact))
    raised = [remainder for remainder, up in remainders if up]
    kept = [remainder for remainder, up in remainders if not up]
    assert not raised or not kept or min(raised) >= max(kept)


def test_nothing_to_share_over():
    assert largest_remainder(0, (0, 0)) == (0, 0)
    with pytest.raises(Refused):
        largest_remainder(1, (0, 0))


@given(parts, st.data())
def test_a_lot_divided_whole_loses_nothing(amounts, data):
    *metals, _ = amounts
    gross = sum(amounts)
    cuts = sorted(data.draw(st.lists(st.integers(0, gross), max_size=4)))
    pieces = [after - before for before, after in zip([0, *cuts], [*cuts, gross], strict=True)]
    shares = divide(gross, metals, pieces)
    assert [sum(column) for column in zip(*shares, strict=True)] == metals
    assert all(sum(share) <= piece for share, piece in zip(shares, pieces, strict=True))


def test_parts_that_are_not_the_whole_are_refused():
    with pytest.raises(Refused):
        divide(10, (5, 0, 0, 0, 0), (4, 5))
