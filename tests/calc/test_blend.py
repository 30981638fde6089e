"""The batch planner against brute force, and its sentences."""

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.blend import EXACT, Blend, BlendLimits, Feed, blend, broken, cure, propose
from custody.calc.refusals import Refused

LIMITS = BlendLimits(most_gross_mg=500, most_ppm=(("Ag", 180_000),), least_ppm=(("Au", 650_000),))


def feed(lot, gross, gold=0, silver=0):
    return Feed(lot, gross, (gold, silver, 0, 0, 0))


@st.composite
def feeds(draw, most=8):
    found = []
    for number in range(draw(st.integers(0, most))):
        gross = draw(st.integers(1, 300))
        gold = draw(st.integers(0, gross))
        found.append(feed(f"L-{number}", gross, gold, draw(st.integers(0, gross - gold))))
    return found


def every_choice(candidates):
    for size in range(len(candidates) + 1):
        yield from combinations(candidates, size)


@given(feeds())
def test_the_proposed_blend_is_the_heaviest_that_keeps_the_limits(candidates):
    found = propose(candidates, LIMITS)
    assert not found.lots or not broken(found, LIMITS)
    within = [blend(choice).gross_mg for choice in every_choice(candidates) if not broken(blend(choice), LIMITS)]
    assert found.gross_mg == max(within, default=0)


@given(feeds(4), feeds(6))
def test_a_cure_is_the_shortest_there_is(chosen, spare):
    spare = [Feed(f"S-{one.lot}", one.gross_mg, one.metals_mg) for one in spare]
    limit = BlendLimits(most_ppm=(("Ag", 180_000),))
    found = cure(chosen, spare, "Ag", 180_000)
    lengths = [len(choice) for choice in every_choice(spare) if not broken(blend([*chosen, *choice]), limit)]
    assert (None if found is None else len(found)) == min(lengths, default=None)
    if found is not None:
        assert not broken(blend([*chosen, *found]), limit)


@given(feeds())
def test_a_blend_is_the_sum_of_its_lots(candidates):
    found = blend(candidates)
    assert found.gross_mg == sum(one.gross_mg for one in candidates)
    assert found.metals_mg == tuple(
        sum(column) for column in zip(*(one.metals_mg for one in candidates), strict=True)
    ) or (not candidates and found == Blend((), 0, (0,) * 5))


def test_many_lots_still_keep_the_limits():
    candidates = [feed(f"L-{i:02d}", 40, gold=30, silver=i % 3 * 5) for i in range(EXACT + 5)]
    found = propose(candidates, LIMITS)
    assert found.lots
    assert not broken(found, LIMITS)


def test_what_is_broken_is_said_with_both_figures():
    found = broken(
        blend([feed("L-1", 700_000, 300_000, 200_000)]), BlendLimits(500_000, (("Ag", 180_000),), (("Au", 650_000),))
    )
    assert found == (
        "0.700 kg is more than the 0.500 kg that a batch may weigh.",
        "Ag is 28.5714 %, more than 18.00 %.",
        "Au is 42.8571 %, less than 65.00 %.",
    )


def test_exactly_at_a_limit_is_inside_it():
    assert not broken(blend([feed("L-1", 500, 325, 90)]), LIMITS)


@pytest.mark.parametrize(
    "call", [lambda: feed("L-1", 0), lambda: feed("L-1", 10, 11), lambda: blend([feed("L-1", 1), feed("L-1", 1)])]
)
def test_refusals_name_their_field(call):
    with pytest.raises(Refused) as caught:
        call()
    assert caught.value.field == "lots"
