"""Scales against the published tables of OIML R 76."""

from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from custody.calc.mass import parse_grams
from custody.calc.refusals import Refused
from custody.calc.scales import (
    Accuracy,
    Scale,
    check_load,
    coarsest_class,
    compare_weighings,
    daily_check,
    difference_explained,
    permissible_error_ug,
)
from custody.calc.weights import Weight, WeightClass, load_error_ug, weights_for
from tests.calc.published import cases

COUNTER = Scale(Accuracy.II, e_mg=100, max_mg=10_000_000, d_ug=10_000)
ANALYTICAL = Scale(Accuracy.I, e_mg=1, max_mg=220_000, d_ug=100)
FLOOR = Scale(Accuracy.III, e_mg=5_000, max_mg=30_000_000)
SCALES = (COUNTER, ANALYTICAL, FLOOR)


def micrograms(grams: str) -> int:
    return int(Decimal(grams) * 1_000_000)


@pytest.mark.parametrize("case", cases("scales", "permissible_errors"))
def test_permissible_errors(case):
    scale = Scale(Accuracy(case["class"]), parse_grams(case["e"]), parse_grams(case["max"]))
    load = parse_grams(case["load"])
    assert permissible_error_ug(scale, load, in_service=False) == micrograms(case["initial"])
    assert permissible_error_ug(scale, load) == micrograms(case["in_service"])


@pytest.mark.parametrize("case", cases("scales", "limits"))
def test_limits_of_a_class(case):
    accuracy, e = Accuracy(case["class"]), parse_grams(case["e"])
    least = parse_grams(case["least_max"])
    assert Scale(accuracy, e, least).minimum_ug == micrograms(case["min"])
    with pytest.raises(Refused, match="capacity of at least"):
        Scale(accuracy, e, least - 1)
    if case["most_max"]:
        most = parse_grams(case["most_max"])
        assert Scale(accuracy, e, most).max_mg == most
        with pytest.raises(Refused, match="capacity of at most"):
            Scale(accuracy, e, most + 1)


def test_min_is_counted_in_steps_of_the_display():
    """R 76: where the display steps by less than e, Min is counted in d."""
    assert ANALYTICAL.minimum_ug == 100 * 100
    assert Scale(Accuracy.I, e_mg=1, max_mg=220_000).minimum_ug == 100 * 1000


def test_an_assay_balance_may_have_a_small_capacity():
    """Class I with d below 0.1 mg: e = 1 mg, and n may be less than 50 000 (Directive 2014/31/EU, Annex I)."""
    assert Scale(Accuracy.I, e_mg=1, max_mg=6_100, d_ug=1).minimum_ug == 100
    with pytest.raises(Refused, match="at least 50"):
        Scale(Accuracy.I, e_mg=1, max_mg=6_100, d_ug=100)


@pytest.mark.parametrize(
    ("plate", "field"),
    [
        ((Accuracy.I, 3, 220_000), "e"),
        ((Accuracy.I, 0, 220_000), "e"),
        ((Accuracy.III, 50, 5_000), "e"),
        ((Accuracy.IIII, 1_000, 1_000_000), "e"),
        ((Accuracy.III, 1_000, 6_000_000, 100_000), "d"),
        ((Accuracy.II, 100, 10_000_000, 5_000), "d"),
        ((Accuracy.II, 100, 10_000_000, 30_000), "d"),
        ((Accuracy.II, 100, 10_000_000, 200_000), "d"),
        ((Accuracy.II, 200, 10_000_000, 100_000), "e"),
        ((Accuracy.I, 10, 1_000_000, 50), "d"),
    ],
)
def test_plates_that_no_scale_has(plate, field):
    with pytest.raises(Refused) as refusal:
        Scale(*plate)
    assert refusal.value.field == field


@pytest.mark.parametrize("load", [-1, 10_000_001])
def test_loads_beyond_the_scale(load):
    with pytest.raises(Refused, match="weighs from 0 to"):
        permissible_error_ug(COUNTER, load)


def test_too_little_for_a_scale():
    check_load(COUNTER, 500)
    with pytest.raises(Refused, match=r"weighs from 0\.500 g on; 0\.499 g is too little"):
        check_load(COUNTER, 499)


@given(st.sampled_from(SCALES), st.data())
def test_errors_grow_with_the_load_and_double_in_service(scale, data):
    lighter, heavier = sorted(data.draw(st.tuples(*[st.integers(0, scale.max_mg)] * 2)))
    assert permissible_error_ug(scale, lighter) <= permissible_error_ug(scale, heavier)
    assert permissible_error_ug(scale, heavier) == 2 * permissible_error_ug(scale, heavier, in_service=False)
    assert permissible_error_ug(scale, heavier) <= 3 * scale.e_mg * 1000


@pytest.mark.parametrize(
    ("reading_ug", "error", "passed"),
    [
        (1_000_000_000, 0, True),
        (1_000_200_000, 200_000, True),
        (999_800_000, -200_000, True),
        (1_000_200_001, 200_001, False),
        (999_790_000, -210_000, False),
    ],
)
def test_daily_check_of_the_counter(reading_ug, error, passed):
    """1 kg on class II, e = 0.1 g: 10 000 e, so 1 e at first and 2 e = 0.2 g in service."""
    check = daily_check(COUNTER, [Weight(1_000_000, WeightClass.F2)], reading_ug)
    assert (check.error_ug, check.limit_ug, check.reference_ug, check.passed) == (error, 200_000, 16_000, passed)


def test_a_certificate_moves_the_reference():
    weights = [Weight(200_000, WeightClass.E2, deviation_ug=250, uncertainty_ug=100)]
    assert daily_check(ANALYTICAL, weights, 200_002_250).passed
    assert not daily_check(ANALYTICAL, weights, 200_002_300).passed


def test_a_reference_may_be_off_by_a_third_of_the_limit():
    """200 g on class I, e = 1 mg: 2 mg in service; F1 may be off by 1.0 mg, E2 by 0.3 mg."""
    assert daily_check(ANALYTICAL, [Weight(200_000, WeightClass.E2)], 200_000_000).passed
    with pytest.raises(Refused, match="more than a third") as refusal:
        daily_check(ANALYTICAL, [Weight(200_000, WeightClass.F1)], 200_000_000)
    assert refusal.value.field == "reference"
    assert coarsest_class(ANALYTICAL, 200_000) is WeightClass.E2
    assert coarsest_class(ANALYTICAL, 20_000) is WeightClass.F1
    assert coarsest_class(COUNTER, 1_000_000) is WeightClass.M1


@given(st.sampled_from(SCALES), st.sampled_from([1, 2, 5]), st.integers(4, 7))
def test_the_coarsest_class_is_enough_and_the_next_is_not(scale, digit, power):
    load = digit * 10**power
    assume(scale.minimum_ug <= load * 1000 <= scale.max_mg * 1000)
    fits = coarsest_class(scale, load)
    assert daily_check(scale, weights_for(load, fits), load * 1000).passed
    coarser = list(WeightClass)[list(WeightClass).index(fits) + 1 :]
    if coarser:
        weights = weights_for(load, coarser[0])
        assert load_error_ug(weights) * 3 > permissible_error_ug(scale, load)


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: daily_check(COUNTER, [], 0), "reference"),
        (lambda: daily_check(COUNTER, [Weight(200, WeightClass.E2)], 200_000), "scale"),
        (lambda: daily_check(ANALYTICAL, [Weight(500_000, WeightClass.E2)], 500_000_000), "scale"),
        (lambda: coarsest_class(ANALYTICAL, 500_000), "scale"),
    ],
)
def test_checks_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field


@pytest.mark.parametrize(
    ("weighed", "book", "explained"),
    [
        (400_000, 400_000, True),
        (400_200, 400_000, True),
        (400_201, 400_000, False),
        (399_800, 400_000, True),
        (399_799, 400_000, False),
        (1_000_400, 1_000_000, True),
        (1_000_401, 1_000_000, False),
        (500_300, 500_000, True),
        (500_301, 500_000, False),
    ],
)
def test_two_counter_scales(weighed, book, explained):
    """Class II, e = 0.1 g: 0.1 g in service up to 500 g, 0.2 g beyond, and both scales may be off."""
    assert difference_explained(weighed, book, COUNTER, COUNTER) == explained


def test_the_finer_scale_adds_little():
    compared = compare_weighings(100_103, 100_000, COUNTER, ANALYTICAL)
    assert (compared.difference_mg, compared.allowed_ug) == (103, 100_000 + 2_000)
    assert not compared.explained
    assert difference_explained(100_102, 100_000, COUNTER, ANALYTICAL)


@given(st.sampled_from(SCALES), st.sampled_from(SCALES), st.data())
def test_the_order_of_two_weighings_does_not_matter(one, other, data):
    most = min(one.max_mg, other.max_mg)
    first, second = data.draw(st.tuples(*[st.integers(0, most)] * 2))
    assert difference_explained(first, second, one, other) == difference_explained(second, first, other, one)


@given(st.sampled_from(SCALES), st.sampled_from(SCALES), st.data())
def test_two_scales_within_their_errors_always_agree(one, other, data):
    """Whatever a lot weighs, two scales that are off by no more than permitted never stop a handover."""
    true = data.draw(st.integers(10_000, min(one.max_mg, other.max_mg) - 10_000))
    readings = []
    for scale in (one, other):
        off = permissible_error_ug(scale, max(true - 15_000, 0)) // 1000
        readings.append(true + data.draw(st.integers(-off, off)))
    assert difference_explained(*readings, one, other)
