"""Density as an indication of gold."""

from fractions import Fraction

import periodictable
import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.density import METAL_DENSITY, Indication, alloy_density, density_of, gold_indicated
from custody.calc.refusals import Refused
from tests.calc.published import cases


def test_densities_of_the_metals():
    for metal, density in METAL_DENSITY.items():
        assert density / 1000 == pytest.approx(getattr(periodictable, metal).density, rel=2e-3)


@pytest.mark.parametrize("case", cases("density", "karat_gold"))
def test_published_densities_indicate_their_karat(case):
    for text in (case["lightest"], case["densest"]):
        found = gold_indicated(Fraction(text) * 1000)
        assert found.low_ppm <= case["gold_ppm"] <= found.high_ppm
        assert found.high_ppm - found.low_ppm <= 90_000


@pytest.mark.parametrize("case", cases("density", "sterling"))
def test_published_densities_of_silver(case):
    assert Fraction(case["lightest"]) <= alloy_density(case["shares_ppm"]) / 1000 <= Fraction(case["densest"])


def test_weighed_in_water():
    """Of 100 g of fine gold water carries 100 / 19.32 * 0.9982 g = 5.167 g."""
    assert density_of(100_000, 94_833) == pytest.approx(19_320, rel=1e-4)
    assert gold_indicated(density_of(100_000, 94_840)) == Indication(1_000_000, 1_000_000)
    assert gold_indicated(density_of(100_000, 94_820)).low_ppm < 1_000_000


@pytest.mark.parametrize(
    ("density", "low", "high"), [(19_513, 1_000_000, 1_000_000), (8_871, 0, 0), (10_490, 0, 272_000)]
)
def test_the_ends(density, low, high):
    assert gold_indicated(Fraction(density)) == Indication(low, high)


@given(st.integers(0, 1_000_000), st.data())
def test_the_gold_of_an_alloy_is_within_what_its_density_indicates(gold, data):
    silver = data.draw(st.integers(0, 1_000_000 - gold))
    found = gold_indicated(alloy_density({"Au": gold, "Ag": silver, "Cu": 1_000_000 - gold - silver}))
    assert found.low_ppm <= gold <= found.high_ppm


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: density_of(100, 100), "in water"),
        (lambda: density_of(100, -1), "in water"),
        (lambda: gold_indicated(Fraction(19_514)), "density"),
        (lambda: gold_indicated(Fraction(8_870)), "density"),
        (lambda: alloy_density({"Au": 999_999}), "fineness"),
        (lambda: alloy_density({"Au": 1_000_001, "Ag": -1}), "fineness"),
        (lambda: alloy_density({}), "fineness"),
        (lambda: alloy_density({"Pt": 1_000_000}), "metal"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field
