"""Silver by difference, titration and as chloride, against the worked examples of a handbook."""

from fractions import Fraction

import periodictable
import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.fineness import parse_per_mille
from custody.calc.provisional import SILVER_IN_CHLORIDE
from custody.calc.refusals import Refused
from custody.calc.silver import (
    ChlorideFactor,
    SaltStandard,
    gay_lussac_ppm,
    salt_factor,
    salt_strength_ug,
    silver_as_chloride_ppm,
    silver_by_difference_ppm,
    strong_salt_ul,
    titrated_silver_ppm,
)
from tests.calc.published import cases


@pytest.mark.parametrize("case", cases("silver", "as_chloride"))
def test_as_chloride(case):
    factor = ChlorideFactor[case["factor"]]
    assert silver_as_chloride_ppm(case["sample_ug"], case["chloride_ug"], factor) == case["ppm"]


def test_the_factor_is_todays_unless_another_is_named():
    assert silver_as_chloride_ppm(1_505_400, 1_850_000) == 924_936
    assert "0.752648" in ChlorideFactor.TODAY.words
    assert "1904" in ChlorideFactor.HANDBOOK.words


def test_todays_factor_is_the_formulas():
    chloride = periodictable.formula("AgCl")
    assert float(ChlorideFactor.TODAY.value) == pytest.approx(periodictable.Ag.mass / chloride.mass, rel=5e-5)
    assert round(ChlorideFactor.TODAY.value * 1_000_000) == SILVER_IN_CHLORIDE


@pytest.mark.parametrize("case", cases("silver", "gay_lussac"))
def test_gay_lussac(case):
    strength = salt_strength_ug(case["standard_ug"], case["standard_weak_ul"])
    assert abs(strength - case["printed_strength_ug"]) <= 50
    assert strong_salt_ul(case["weak_ul"]) == case["strong_ul"]
    ppm = gay_lussac_ppm(strength, case["sample_ug"], case["weak_ul"])
    assert ppm == case["ppm"]
    assert abs(ppm - case["printed_ppm"]) <= case["printed_within_ppm"]


def test_silver_that_was_added_is_taken_off():
    """5 mg added take 50 uL of strong solution more, so 5 000 uL of weak, at exactly 10 mg in the millilitre."""
    strength = Fraction(1_000_000)
    without = gay_lussac_ppm(strength, 1_010_000, 6_500)
    assert gay_lussac_ppm(strength, 1_010_000, 11_500, added_ug=5_000) == without


@given(st.integers(900_000, 1_100_000), st.integers(1_500, 20_000))
def test_an_assay_of_the_standard_itself_is_fine_silver(silver, weak):
    assert gay_lussac_ppm(salt_strength_ug(silver, weak), silver, weak) == 1_000_000


@pytest.mark.parametrize("case", cases("silver", "gold_silver_and_base"))
def test_by_difference(case):
    gold, base = parse_per_mille(case["gold"]), parse_per_mille(case["base"])
    assert silver_by_difference_ppm(1_000_000 - base, gold) == parse_per_mille(case["silver"])


def test_by_difference_less_what_else_stays_in_the_bead():
    assert silver_by_difference_ppm(960_500, 874_500, 1_500) == 84_500


def test_a_tenth_molar_salt_solution():
    """0.1 mol/L of chloride takes 0.1 mol/L of silver: 10.78682 ug per uL by its atomic weight."""
    factor = salt_factor([SaltStandard(1_078_682, 100_000), SaltStandard(539_341, 50_000)])
    assert float(factor) == pytest.approx(periodictable.Ag.mass / 10, rel=1e-6)
    assert titrated_silver_ppm(factor, 500_000, 42_876) == 924_991


def test_the_factor_is_the_mean_of_the_standards():
    factor = salt_factor([SaltStandard(1_000_000, 100_000), SaltStandard(1_002_000, 100_000)])
    assert factor == Fraction(1_001, 100)


def test_the_purity_of_a_standard_counts():
    assert SaltStandard(1_000_000, 100_000, purity_ppm=999_900).factor == Fraction(9_999, 1_000)
    assert salt_strength_ug(1_000_000, 1_500, purity_ppm=999_900) == 999_900


@given(st.integers(100_000, 999_000), st.integers(200_000, 600_000))
def test_a_titration_finds_what_is_there(fine, sample):
    """Volumes are read to the microlitre, here with 10 ug of silver in each."""
    volume = sample * fine // 10**7
    assert abs(titrated_silver_ppm(Fraction(10), sample, volume) - fine) <= 10**7 // sample + 1


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: silver_as_chloride_ppm(0, 1), "sample"),
        (lambda: silver_as_chloride_ppm(1, -1), "chloride"),
        (lambda: silver_as_chloride_ppm(1_000, 1_400), "chloride"),
        (lambda: strong_salt_ul(1_499), "weak"),
        (lambda: gay_lussac_ppm(Fraction(1_000_000), 0, 2_000), "sample"),
        (lambda: gay_lussac_ppm(Fraction(1_000_000), 900_000, 2_000), "weak"),
        (lambda: gay_lussac_ppm(Fraction(1_000_000), 900_000, 2_000, added_ug=2_000_000), "weak"),
        (lambda: SaltStandard(0, 1), "standard"),
        (lambda: SaltStandard(1, 0), "volume"),
        (lambda: SaltStandard(1, 1, purity_ppm=1_000_001), "purity"),
        (lambda: salt_strength_ug(0, 2_000), "standard"),
        (lambda: salt_factor([]), "standard"),
        (lambda: titrated_silver_ppm(Fraction(10), 0, 1), "sample"),
        (lambda: titrated_silver_ppm(Fraction(10), 1, -1), "volume"),
        (lambda: titrated_silver_ppm(Fraction(10), 100, 11), "volume"),
        (lambda: silver_by_difference_ppm(900_000, 900_001), "bead"),
        (lambda: silver_by_difference_ppm(900_000, 800_000, 100_001), "bead"),
        (lambda: silver_by_difference_ppm(1_000_001, 1), "fineness"),
        (lambda: silver_by_difference_ppm(1, -1), "fineness"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field
