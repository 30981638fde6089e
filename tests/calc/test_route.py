"""Route advice at its limits, and the silver that inquartation asks for."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.refusals import Refused
from custody.calc.route import Limits, Step, advise, silver_for_inquartation_mg

KILO = 1_000_000


def steps(silver_ppm, gold_ppm=700_000, **more):
    return advise(KILO, {"Au": gold_ppm, "Ag": silver_ppm}, **more).steps


@pytest.mark.parametrize(
    ("silver_ppm", "first"),
    [
        (0, (Step.AQUA_REGIA,)),
        (99_999, (Step.AQUA_REGIA,)),
        (100_000, (Step.CRUST, Step.AQUA_REGIA)),
        (180_000, (Step.CRUST, Step.AQUA_REGIA)),
        (180_001, (Step.INQUART, Step.PART, Step.AQUA_REGIA)),
    ],
)
def test_silver_decides_the_way(silver_ppm, first):
    """Common practice: under 10 % directly, to 18 % with measures against a crust, above it inquartation."""
    assert steps(silver_ppm) == (*first, Step.PRECIPITATE, Step.MELT)


def test_the_last_nine_needs_a_cell():
    assert Step.GOLD_CELL not in steps(50_000, wanted_ppm=999_500)
    assert steps(50_000, wanted_ppm=999_900)[-2:] == (Step.GOLD_CELL, Step.MELT)


def test_gold_as_fine_as_wanted_is_not_refined_again():
    """Skeleton and filings of fine bars: acid would only cost."""
    assert steps(0, gold_ppm=999_950, wanted_ppm=999_900) == (Step.MELT,)
    assert steps(0, gold_ppm=999_900, wanted_ppm=999_900) == (Step.MELT,)
    assert steps(0, gold_ppm=999_899, wanted_ppm=999_900)[0] == Step.AQUA_REGIA


def test_a_feed_of_silver_goes_to_the_silver_cell():
    assert steps(950_000, gold_ppm=40_000) == (Step.MELT, Step.SILVER_CELL)


def test_a_feed_with_silver_enough_is_parted_without_more():
    advice = advise(KILO, {"Au": 200_000, "Ag": 700_000})
    assert (advice.steps[0], advice.silver_to_add_mg) == (Step.PART, 0)


def test_what_is_not_known_is_said():
    advice = advise(KILO, {"Au": 600_000, "Ag": 100_000, "Pd": 5_000})
    said = " ".join(advice.flags)
    assert "60.00 %, under 65.00 %" in said
    assert "Pd is in it" in said
    assert "29.50 % is not assayed; it may hold lead" in said


def test_quarter_gold():
    """100 g of 750 gold and 100 silver, the rest no metal of account: 4 x 75 = 300 g of metal, less the 85 there."""
    assert silver_for_inquartation_mg({"Au": 75_000, "Ag": 10_000}) == 215_000


def test_the_handbook_of_a_bead():
    """Beringer, p. 147: a bead of 10 mg with 8 mg of gold, silver and gold together 3 1/2 times the gold: add 18 mg."""
    bead = {"Au": 8_000, "Ag": 2_000}
    assert silver_for_inquartation_mg(bead, gold_share=Fraction(2, 7)) == 18_000


@given(st.integers(0, 10**9), st.integers(0, 10**9), st.integers(0, 10**9))
def test_after_inquartation_gold_is_its_share(gold, silver, copper):
    fine = {"Au": gold, "Ag": silver, "Cu": copper}
    added = silver_for_inquartation_mg(fine)
    assert 4 * gold <= sum(fine.values()) + added
    if added:
        assert 4 * gold > sum(fine.values()) + added - 1


@pytest.mark.parametrize(
    "call",
    [
        lambda: advise(0, {}),
        lambda: advise(10, {"Au": 11}),
        lambda: advise(10, {"Au": -1}),
        lambda: silver_for_inquartation_mg({"Au": -1}),
        lambda: Limits(direct_silver_ppm=200_000),
        lambda: Limits(gold_share=Fraction(1)),
    ],
)
def test_refusals_name_their_field(call):
    with pytest.raises(Refused) as caught:
        call()
    assert caught.value.field
