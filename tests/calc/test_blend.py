"""The batch planner against brute force, and its sentences."""

from itertools import combinations
from unittest import mock

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc import blend as planner
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


def heaviest_of_all(candidates):
    within = [blend(choice).gross_mg for choice in every_choice(candidates) if not broken(blend(choice), LIMITS)]
    return max(within, default=0)


@given(feeds())
def test_the_proposed_blend_is_the_heaviest_that_keeps_the_limits(candidates):
    found = propose(candidates, LIMITS)
    assert not found.blend.lots or not broken(found.blend, LIMITS)
    assert found.proven
    assert found.blend.gross_mg == heaviest_of_all(candidates)


@given(feeds(9))
def test_what_is_not_searched_whole_keeps_the_limits_and_its_bound_holds(candidates):
    """The way of many lots on few, so that every choice can be weighed beside it."""
    with mock.patch.object(planner, "EXACT", 0):
        found = propose(candidates, LIMITS)
    assert not found.blend.lots or not broken(found.blend, LIMITS)
    best = heaviest_of_all(candidates)
    assert found.blend.gross_mg <= best <= found.most_mg
    assert not found.proven or found.blend.gross_mg == best
    assert found.blend.lots or not best, "what one lot alone would do is not missed"


@given(feeds(4), feeds(6), st.sampled_from([("Ag", 180_000, False), ("Au", 650_000, True)]))
def test_a_cure_is_the_shortest_there_is(chosen, spare, asked):
    metal, ppm, at_least = asked
    spare = [Feed(f"S-{one.lot}", one.gross_mg, one.metals_mg) for one in spare]
    one = ((metal, ppm),)
    limit = BlendLimits(least_ppm=one) if at_least else BlendLimits(most_ppm=one)
    found = cure(chosen, spare, metal, ppm, at_least=at_least)
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


def test_of_many_lots_a_heavy_blend_is_found():
    """Of 24 lots 20 keep the limits of metals and together weigh more than a batch may: nearly all of it is filled."""
    candidates = [feed(f"L-{i:02d}", 40 + i, gold=30, silver=5) for i in range(EXACT + 8)]
    candidates += [feed(f"X-{i}", 200, gold=20, silver=100) for i in range(4)]
    found = propose(candidates, LIMITS)
    assert not broken(found.blend, LIMITS)
    assert found.most_mg == 500
    assert found.blend.gross_mg >= 495


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
