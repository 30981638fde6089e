"""Bars from a melt: fine by weight and fineness, nothing lost, metals within gross wherever there is room."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.casting import pour, serials_from
from custody.calc.fineness import fine_mg
from custody.calc.refusals import Refused


@st.composite
def casts(draw):
    """Bars, a remainder, and the metals that are to go into them."""
    bars = draw(st.lists(st.tuples(st.integers(1, 10**6), st.integers(0, 10**6)), min_size=1, max_size=5))
    metals = draw(st.lists(st.integers(0, 10**5), min_size=5, max_size=5))
    return metals, bars, draw(st.integers(0, 10**5)), draw(st.sampled_from(("Au", "Ag")))


@given(casts())
def test_every_milligram_goes_somewhere_and_no_bar_is_heavier_than_itself(cast):
    metals, bars, rest, metal = cast
    at = ("Au", "Ag", "Pt", "Pd", "Cu").index(metal)
    poured = pour(metals, bars, rest, metal)
    for i in range(5):
        assert sum(bar[i] for bar in poured.bars) + poured.remainder[i] == metals[i]
    for (gross, ppm), bar in zip(bars, poured.bars, strict=True):
        assert bar[at] == fine_mg(gross, ppm)
        assert min(bar) >= 0
        assert sum(bar) <= gross
    room = sum(gross - sum(bar) for (gross, _), bar in zip(bars, poured.bars, strict=True))
    others = sum(mg for i, mg in enumerate(poured.remainder) if i != at)
    if room and others:
        assert sum(max(mg, 0) for mg in poured.remainder) <= rest, "the bars had room for what the remainder can't hold"


def test_other_metals_go_to_the_remainder_as_long_as_it_holds_them():
    poured = pour((1_099_890, 60, 0, 0, 40), [(1_000_000, 999_900)], 100_200)
    assert poured.bars == ((999_900, 0, 0, 0, 0),)
    assert poured.remainder == (99_990, 60, 0, 0, 40)


def test_what_the_remainder_cannot_hold_is_shared_by_the_room_in_the_bars():
    # 30 mg too much: of 60 Ag and 40 Cu, 18 and 12 stay; the bars have room for 100 and 50 mg of them.
    bars = [(1_000_000, 999_900), (500_000, 999_900)]
    poured = pour((1_500_000, 60, 0, 0, 40), bars, 220)
    assert poured.remainder == (150, 42, 0, 0, 28)
    assert poured.bars == ((999_900, 12, 0, 0, 8), (499_950, 6, 0, 0, 4))


def test_more_in_the_bars_than_came_in_leaves_a_remainder_below_nothing():
    assert pour((999_000, 0, 0, 0, 0), [(1_000_000, 999_900)], 0).remainder == (-900, 0, 0, 0, 0)


def test_more_of_another_metal_lost_than_came_in_is_refused():
    with pytest.raises(Refused) as refused:
        pour((0, -1, 0, 0, 0), [], 0)
    assert refused.value.field == "losses"


@pytest.mark.parametrize(
    ("first", "count", "serials"),
    [
        ("A000009", 2, ("A000009", "A000010")),
        ("7", 1, ("7",)),
        ("99", 2, ("99", "100")),
        ("B-24-07", 2, ("B-24-07", "B-24-08")),
    ],
)
def test_serials_count_up_and_keep_their_width(first, count, serials):
    assert serials_from(first, count) == serials


@pytest.mark.parametrize(("first", "count", "field"), [("A", 1, "serial"), ("", 1, "serial"), ("A1", 0, "count")])
def test_serials_that_cannot_be_counted(first, count, field):
    with pytest.raises(Refused) as refused:
        serials_from(first, count)
    assert refused.value.field == field
