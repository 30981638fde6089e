"""Metals follow the weight of what is cut, filed and stamped, to the milligram."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.bar_work import Piece, follow, follow_each
from custody.calc.refusals import Refused


def test_ten_blanks_and_a_skeleton():
    """150 g of 999.9 gold: 149.985 g Au. Each blank of 10.05 g holds 10.049 g and the skeleton the rest."""
    found = follow(150_000, (149_985, 10, 0, 0, 0), [10_050] * 10 + [49_490], [10])
    assert sum(part[0] for part in found.parts) + found.losses[0][0] == 149_985
    assert {part[0] for part in found.parts[:10]} == {10_049}
    assert found.losses[0][0] == 10


def test_what_the_scale_gains_brings_its_metal():
    found = follow(10_000, (9_000, 1_000, 0, 0, 0), [10_010], [-10])
    assert found.parts == ((9_009, 1_001, 0, 0, 0),)
    assert found.losses == ((-9, -1, 0, 0, 0),)


@pytest.mark.parametrize(("parts", "said"), [([9_000], "1.000 g still to explain"), ([10_001], "0.001 g more out")])
def test_what_does_not_add_up_is_told_in_grams(parts, said):
    with pytest.raises(Refused, match=said):
        follow(10_000, (9_000, 0, 0, 0, 0), parts, [])


masses = st.integers(1, 10**7)


@given(st.lists(masses, min_size=1, max_size=20), st.lists(masses, max_size=3), st.integers(0, 500), st.data())
def test_nothing_is_made_or_lost_on_the_way(parts, losses, gained, data):
    losses = [*losses, -gained]
    gross = max(sum(parts) + sum(losses), 0)
    if not gross:
        return
    metals = data.draw(st.lists(st.integers(0, gross // 5), min_size=5, max_size=5))
    found = follow(gross, metals, parts, losses)
    for metal in range(5):
        assert sum(row[metal] for row in (*found.parts, *found.losses)) == metals[metal]
    for weight, row in zip((*parts, *losses), (*found.parts, *found.losses), strict=True):
        assert abs(sum(row)) <= abs(weight)
        for metal in range(5):
            assert abs(row[metal] * gross - weight * metals[metal]) <= 25 * gross


def test_each_blank_keeps_its_own_fineness_when_it_is_filed():
    """Two blanks of 999.9 and 995.0, 0.1 g off each: the filings hold a tenth of a gram of either."""
    one, other = Piece(10_100, (10_099, 0, 0, 0, 0), 10_000), Piece(10_100, (10_050, 50, 0, 0, 0), 10_000)
    found = follow_each([one, other], [195], [5])
    assert found.parts[:2] == ((9_999, 0, 0, 0, 0), (9_950, 50, 0, 0, 0))
    assert found.parts[2][0] + found.losses[0][0] == 200


def test_a_blank_that_the_scale_shows_heavier_takes_what_another_loses():
    pieces = [Piece(10_000, (9_999, 0, 0, 0, 0), 10_001), Piece(10_000, (9_999, 0, 0, 0, 0), 9_999)]
    found = follow_each(pieces, [], [])
    assert [row[0] for row in found.parts] == [10_000, 9_998]
    assert follow_each(pieces[:1], [], [-1]).losses == ((0, 0, 0, 0, 0),)


@given(st.lists(st.tuples(masses, st.integers(-50, 10**6)), min_size=1, max_size=12), st.data())
def test_pieces_others_and_losses_sum_to_what_went_in(drawn, data):
    pieces = []
    for gross, off in drawn:
        metals = data.draw(st.lists(st.integers(0, gross // 5), min_size=5, max_size=5))
        pieces.append(Piece(gross, tuple(metals), max(gross - off, 1)))
    gap = sum(piece.gross_mg - piece.after_mg for piece in pieces)
    others, losses = ([gap // 2], [gap - gap // 2]) if gap > 0 else ([], [gap])
    found = follow_each(pieces, others, losses)
    for metal in range(5):
        total = sum(piece.metals_mg[metal] for piece in pieces)
        assert sum(row[metal] for row in (*found.parts, *found.losses)) == total
    for weight, row in zip([*(piece.after_mg for piece in pieces), *others], found.parts, strict=True):
        assert min(row) >= 0
        assert sum(row) <= weight
