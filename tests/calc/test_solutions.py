"""Volumes, densities and concentrations: hand-calculated cases, and rounding half to even to the milligram."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.refusals import Refused
from custody.calc.solutions import (
    Found,
    Limit,
    concentration_ug_l,
    hundredths,
    litres,
    mass_mg,
    metal_mg,
    volume_ml,
    water_ml,
)


@pytest.mark.parametrize(
    ("ml", "ug_l", "mg"),
    [
        (1_000, 1_000, 1),  # 1 L at 1 mg/L
        (98_500, 8_012_000, 789_182),  # 98.5 L × 8012 mg/L
        (500, 1_000, 0),  # half a milligram: even
        (1_500, 1_000, 2),  # one and a half: even
        (2_500, 1_000, 2),  # two and a half: even
        (40_000, 300, 12),  # 40 L at 0.300 mg/L, the limit of 40 CFR 421.262 for precious metals
        (100_000, 1_900, 190),  # 100 L at 1.900 mg/L, its limit for copper
    ],
)
def test_metal_of_a_volume(ml, ug_l, mg):
    assert metal_mg(ml, ug_l) == mg


def test_mass_and_volume_by_density():
    assert mass_mg(98_500, 1_020) == 100_470_000  # 98.5 L of 1.02 g/mL weigh 100.47 kg
    assert volume_ml(100_470_000, 1_020) == 98_500
    assert water_ml((10_000_000, 800_000, 150_000, 0, 0, 0)) == 9_050
    for volume, density in ((0, 1_000), (1, 0), (-1, 1_000)):
        with pytest.raises(Refused):
            mass_mg(volume, density)


@given(st.integers(1, 10**9), st.integers(0, 10**9))
def test_a_concentration_gives_its_metal_back(ml, mg):
    """Micrograms a litre are coarser than milligrams only past a thousand litres."""
    back = metal_mg(ml, concentration_ug_l(mg, ml))
    assert abs(back - mg) <= max(1, ml // 2_000_000 + 1)
    assert concentration_ug_l(mg, 0) is None


@given(st.integers(1, 10**9), st.integers(1, 20_000))
def test_a_volume_comes_back_from_its_mass(ml, density):
    assert volume_ml(mass_mg(ml, density), density) == ml


def test_words():
    assert (litres(12_500), litres(50), hundredths(850), hundredths(-50)) == ("12.500", "0.050", "8.50", "−0.50")
    assert (Found(1_900).words, Found(50, below=True).words) == ("1.900", "<0.050")


@pytest.mark.parametrize(
    ("least", "most", "found", "allowed"),
    [
        (None, 1_900, 1_900, True),
        (None, 1_900, 1_901, False),
        (None, 1_900, None, False),
        (750, 1_000, 750, True),
        (750, 1_000, 749, False),
        (750, 1_000, 1_001, False),
    ],
)
def test_limits_hold_at_both_ends(least, most, found, allowed):
    assert Limit("Cu", least, most).allows(found) is allowed
