"""Agreement of parallel results, against published pairs and the studentized range."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import studentized_range

from custody.calc.fineness import parse_per_mille
from custody.calc.refusals import Refused
from custody.calc.repeatability import (
    CRITICAL_TENTHS,
    LIMITS,
    agreement,
    duplicates_agree,
    from_pairs,
    limit_of,
    variance_of,
)
from custody.calc.rounding import root_to_places
from custody.terms import Method
from tests.calc.published import cases

results = st.lists(st.integers(0, 1_000_000), min_size=2, max_size=10)


@pytest.mark.parametrize("case", cases("repeatability", "pairs"))
def test_from_pairs(case):
    found = from_pairs([tuple(pair) for pair in case["pairs_ug"]])
    assert found.pairs == len(case["pairs_ug"])
    assert found.deviation(2) / 1000 == Decimal(case["s_mg"])
    assert found.limit(2) / 1000 == Decimal(case["r_mg"])
    assert abs(found.limit(1) / 1000 - Decimal(case["r_by_2.77_mg"])) < Decimal("0.0005")


@pytest.mark.parametrize("case", cases("repeatability", "four_results"))
def test_standard_deviation(case):
    assert root_to_places(variance_of(case["results_ug"]), 3) == Decimal(case["s_ug"])
    assert sum(case["results_ug"]) == case["mean_ug"] * len(case["results_ug"])


def test_the_factor_of_the_limit():
    """A variance of one gives r = 1.96 sqrt 2 = 2.7719."""
    assert from_pairs([(0, 1), (1, 2), (0, 1)]).variance * 2 == 1
    assert from_pairs([(0, 2), (0, 0)]).limit(4) == Decimal("2.7719")


@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_two_results_have_one_variance_by_either_way(one, other):
    assert from_pairs([(one, other)]).variance == variance_of([one, other])


@pytest.mark.parametrize("case", cases("repeatability", "limits"))
def test_limits_of_fire_assay(case):
    found = duplicates_agree(
        [parse_per_mille(text) for text in case["results"]], Method.FIRE_ASSAY, "Au", white=case["white"]
    )
    assert found.accepted == case["accepted"]


def test_critical_ranges_are_those_of_the_studentized_range():
    for n, tenths in enumerate(CRITICAL_TENTHS, 2):
        assert abs(studentized_range.ppf(0.95, n, 10**7) - tenths / 10) < 0.051


def test_four_results_may_spread_more_than_two():
    assert agreement([750_000, 750_500], 500).accepted
    assert agreement([750_000, 750_501, 750_200], 500).accepted
    assert agreement([750_000, 750_642, 750_200, 750_300], 500).accepted
    assert not agreement([750_000, 750_643, 750_200, 750_300], 500).accepted
    assert agreement([1, 2, 2, 2], 500).mean_ppm == 2


@given(results, st.integers(0, 10_000))
def test_results_in_another_order_agree_just_the_same(values, limit):
    found, turned = agreement(values, limit), agreement(values[::-1], limit)
    assert found.accepted == turned.accepted
    assert min(values) <= found.mean_ppm == turned.mean_ppm <= max(values)
    assert found.allowed_ppm >= limit


def test_in_words():
    assert agreement([750_000, 750_300], 500).sentence == (
        "The results lie 0.3 per mille apart, within the 0.5 that they may."
    )
    assert agreement([750_000, 750_700], 500).sentence == (
        "The results lie 0.7 per mille apart; they may 0.5. Assay again in duplicate."
    )


def test_an_agreed_limit_goes_before_the_methods():
    assert not duplicates_agree([750_000, 750_300], Method.FIRE_ASSAY, "Au", limit_ppm=200).accepted
    assert duplicates_agree([1_000, 1_300], Method.ICP, "Pt", limit_ppm=300).accepted


def test_ranges_of_one_method_do_not_overlap():
    for limit in LIMITS:
        others = [each for each in LIMITS if (each.method, each.metal) == (limit.method, limit.metal) and each != limit]
        assert all(each.below_ppm <= limit.from_ppm or limit.below_ppm <= each.from_ppm for each in others)
        assert "from memory" in limit.source


def test_no_limit_is_guessed():
    with pytest.raises(Refused, match=r"duplicates of Pt by XRF indication at 950\.0 per mille"):
        limit_of(Method.XRF, "Pt", 950_000)


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: agreement([1], 1), "results"),
        (lambda: agreement([1] * 11, 1), "results"),
        (lambda: agreement([1, 1], -1), "limit"),
        (lambda: limit_of(Method.FIRE_ASSAY, "Au", 99_999), "limit"),
        (lambda: duplicates_agree([], Method.FIRE_ASSAY, "Au"), "result"),
        (lambda: from_pairs([]), "results"),
        (lambda: variance_of([1]), "results"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field
