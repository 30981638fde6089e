"""What a product drawn from a vessel is offered as holding."""

import periodictable
import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.provisional import SILVER_IN_CHLORIDE, expected_mg
from custody.terms import Form, Kind

CONTENT = (5_000, 800, 150, 0, 0, 50)


def test_silver_in_its_chloride():
    """Against the atomic weights of a general-purpose table."""
    silver, chlorine = periodictable.Ag.mass, periodictable.Cl.mass
    assert abs(SILVER_IN_CHLORIDE / 1_000_000 - silver / (silver + chlorine)) < 1e-6


@pytest.mark.parametrize(
    ("form", "gross", "step", "metals"),
    [
        (Form.GOLD_SAND, 500, Kind.DISSOLVE, (500, 0, 0, 0, 0)),
        (Form.GOLD_SAND, 900, Kind.DISSOLVE, (800, 0, 0, 0, 0)),
        (Form.SILVER_CHLORIDE, 100, Kind.DISSOLVE, (0, 75, 0, 0, 0)),
        (Form.SILVER_CHLORIDE, 1_000, Kind.DISSOLVE, (0, 150, 0, 0, 0)),
        (Form.CATHODE, 100, Kind.ELECTROLYSE_SILVER, (0, 100, 0, 0, 0)),
        (Form.CATHODE, 100, Kind.ELECTROLYSE_GOLD, (100, 0, 0, 0, 0)),
        (Form.CEMENT_COPPER, 60, Kind.CEMENT_COPPER, (0, 0, 0, 0, 50)),
        (Form.RESIDUE, 900, Kind.PART, (800, 0, 0, 0, 0)),
        (Form.CAKE, 1_000, Kind.NEUTRALISE, (800, 150, 0, 0, 50)),
        (Form.SOLUTION, 500, Kind.DISSOLVE, (80, 15, 0, 0, 5)),
        (Form.RESIDUE, 9_000, Kind.DISSOLVE, (800, 150, 0, 0, 50)),
    ],
)
def test_offers(form, gross, step, metals):
    assert expected_mg(form, gross, CONTENT, step) == metals


@given(
    st.sampled_from(list(Form)),
    st.integers(1, 10_000),
    st.lists(st.integers(0, 1_000), min_size=6, max_size=6),
    st.sampled_from(list(Kind)),
)
def test_never_more_than_there_is_nor_than_the_product_weighs(form, gross, parts, step):
    *metals, _ = parts
    offered = expected_mg(form, gross, (sum(parts), *metals), step)
    assert all(0 <= mg <= held for mg, held in zip(offered, metals, strict=True))
    assert sum(offered) <= gross
