"""The loss of a melt in parts of what went in: plain proportion, reckoned by hand."""

import pytest

from custody.calc.melt_loss import melt_loss_ppm
from custody.calc.refusals import Refused


@pytest.mark.parametrize(
    ("before", "after", "ppm"),
    [
        (1_000_000, 985_000, 15_000),
        (1_000_000, 1_000_000, 0),
        (1_000_000, 1_000_001, -1),
        (3, 2, 333_333),
        (400_000_000, 399_999_900, 0),  # a quarter of a ppm
        (2_000_000, 1_999_999, 0),  # half a ppm, to the even one
        (2_000_000, 1_999_997, 2),  # one and a half
    ],
)
def test_loss(before, after, ppm):
    assert melt_loss_ppm(before, after) == ppm


def test_nothing_before_has_no_loss():
    with pytest.raises(Refused):
        melt_loss_ppm(0, 5)
