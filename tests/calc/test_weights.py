"""Reference weights against the published table of OIML R 111."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.mass import parse_grams
from custody.calc.refusals import Refused
from custody.calc.weights import NOMINAL_MG, Weight, WeightClass, load_error_ug, weight_mpe_ug, weights_for
from tests.calc.published import cases

PUBLISHED = [*cases("weights", "reference_weights"), *cases("weights", "reference_weights_from_memory")]


@pytest.mark.parametrize("case", PUBLISHED, ids=lambda case: case["nominal"])
def test_permissible_errors(case):
    nominal = parse_grams(case["nominal"])
    for weight_class, mg in zip(WeightClass, case["mpe_mg"], strict=False):
        assert weight_mpe_ug(nominal, weight_class) == Decimal(mg) * 1000
    for weight_class in list(WeightClass)[len(case["mpe_mg"]) :]:
        with pytest.raises(Refused, match="is made in class"):
            weight_mpe_ug(nominal, weight_class)


def test_every_weight_is_published():
    assert [parse_grams(case["nominal"]) for case in PUBLISHED] == list(NOMINAL_MG)


@pytest.mark.parametrize("nominal", [mg for mg in NOMINAL_MG if mg >= 100_000])
def test_from_100_g_on_a_class_is_a_share_of_the_mass(nominal):
    """R 111 from 100 g: E1 half a millionth, then times 3.2 from class to class; the table prints two figures."""
    for weight_class, ppb in zip(WeightClass, (500, 1_600, 5_000, 16_000, 50_000, 160_000, 500_000), strict=True):
        assert abs(weight_mpe_ug(nominal, weight_class) * 10**6 - nominal * ppb) * 100 <= 7 * nominal * ppb


def test_100_g():
    assert weight_mpe_ug(100_000, WeightClass.F1) == 500
    assert weight_mpe_ug(100_000, WeightClass.E2) == 160


def test_a_certificate_gives_value_and_error():
    plain = Weight(100_000, WeightClass.F1)
    known = Weight(100_000, WeightClass.F1, deviation_ug=-120, uncertainty_ug=50)
    assert (plain.value_ug, plain.error_ug) == (100_000_000, 500)
    assert (known.value_ug, known.error_ug) == (99_999_880, 50)
    assert load_error_ug([plain, known]) == 550


@given(st.integers(1, 10**8))
def test_weights_make_up_the_load(load):
    weights = weights_for(load, WeightClass.E1)
    assert sum(weight.nominal_mg for weight in weights) == load
    assert [weight.nominal_mg for weight in weights] == sorted((w.nominal_mg for w in weights), reverse=True)
    assert all(sum(w.nominal_mg == mg for w in weights) <= 2 for mg in NOMINAL_MG[:-1])


def test_a_class_needs_only_the_weights_that_the_load_takes():
    """No weight below 1 g is made in M3, and 12 g need none."""
    assert [weight.nominal_mg for weight in weights_for(12_000, WeightClass.M3)] == [10_000, 2_000]
    with pytest.raises(Refused, match=r"0\.500 g is made in class M3"):
        weights_for(12_500, WeightClass.M3)


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: weight_mpe_ug(3, WeightClass.E1), "nominal"),
        (lambda: weight_mpe_ug(50_000_000, WeightClass.M3), "nominal"),
        (lambda: weights_for(0, WeightClass.E1), "nominal"),
        (lambda: Weight(500, WeightClass.M3), "class"),
        (lambda: Weight(100_000, WeightClass.F1, deviation_ug=1), "deviation"),
        (lambda: Weight(100_000, WeightClass.F1, deviation_ug=501, uncertainty_ug=50), "deviation"),
        (lambda: Weight(100_000, WeightClass.F1, uncertainty_ug=0), "uncertainty"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field
