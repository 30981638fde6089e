"""Screened samples against the worked example of a handbook."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.assay import Charge
from custody.calc.fineness import parse_percent
from custody.calc.metallics import Metallics, screened_ppm
from custody.calc.refusals import Refused
from tests.calc.published import cases


@pytest.mark.parametrize("case", cases("metallics", "screened"))
def test_worked_example(case):
    metallics = Metallics(case["metallics_mg"], case["metallics_metal_ug"])
    ppm = screened_ppm(metallics, case["siftings_mg"], [Charge(**charge) for charge in case["charges"]])
    assert ppm == case["ppm"] == parse_percent(case["printed_percent"])
    assert ppm < parse_percent(case["short_way_percent"])


def test_charges_of_the_siftings_are_averaged():
    charges = [Charge(100_000, 1_000), Charge(50_000, 1_000)]
    assert screened_ppm(Metallics(0, 0), 1_000, charges) == 15_000


@given(st.integers(0, 10**6), st.integers(1, 10**6), st.integers(0, 1_000_000))
def test_two_parts_alike_are_like_their_whole(metallics, siftings, ppm):
    """Micrograms of a whole number of milligrams times ppm over 1000 are whole only at multiples of 1000 ppm."""
    ppm -= ppm % 1000
    part = Metallics(metallics, metallics * ppm // 1000)
    assert screened_ppm(part, siftings, [Charge(1_000_000, ppm)]) == ppm


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: Metallics(-1, 0), "metallics"),
        (lambda: Metallics(1, -1), "metallics"),
        (lambda: Metallics(1, 1_001), "metallics"),
        (lambda: screened_ppm(Metallics(1, 1), 0, [Charge(1, 1)]), "siftings"),
        (lambda: screened_ppm(Metallics(1, 1), 1, []), "sample"),
        (lambda: screened_ppm(Metallics(1, 1), 1, [Charge(1, 2)]), "cornet"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field
