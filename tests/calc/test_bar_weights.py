"""Bars in troy ounces: London weights, agreed contents, and what is told as it weighs."""

from decimal import Decimal

import pytest

from custody.calc.bar_weights import AGREED, BY_WEIGHT, LONDON_GOLD, LONDON_SILVER, market_weight
from custody.calc.refusals import Refused


@pytest.mark.parametrize(
    ("metal", "gross_mg", "fine_mg", "gross_ozt", "fine_ozt", "rule"),
    [
        # LBMA Good Delivery Rules, Annex C: 401.125 ozt at 995.8 holds 399.440 fine ozt; 12 476.382... g is 401.125 ozt.
        ("Au", 12_476_383, 12_423_983, "401.125", "399.440", LONDON_GOLD),
        # The agreed content of a kilobar of four nines is 32.148 ozt (see calc/agreed_fine.py); gross 32.151 ozt.
        ("Au", 1_000_000, 999_900, "32.151", "32.148", AGREED),
        ("Au", 1_000_020, 999_960, "32.151", "32.148", AGREED),
        ("Au", 1_000_000, 999_100, "32.151", "32.119", AGREED),
        # A bar of 50 g of 995 is agreed as 1.600, by arithmetic it would be 1.599.
        ("Au", 50_000, 49_750, "1.608", "1.600", AGREED),
        # Silver: 1 000.07 ozt is stated as 1 000.0 ozt (down to 0.1).
        ("Ag", 31_105_654, 31_080_000, "1000.000", "999.100", LONDON_SILVER),
        ("Ag", 1_000_000, 999_000, "32.151", "32.119", BY_WEIGHT),
        # Below the least fineness of a market nothing is agreed.
        ("Au", 1_000_000, 900_000, "32.151", "28.936", BY_WEIGHT),
        ("Au", 12_476_383, 11_000_000, "401.125", "353.658", BY_WEIGHT),
    ],
)
def test_weights(metal, gross_mg, fine_mg, gross_ozt, fine_ozt, rule):
    found = market_weight(metal, gross_mg, fine_mg)
    assert (found.gross_ozt, found.fine_ozt, found.rule) == (Decimal(gross_ozt), Decimal(fine_ozt), rule)


@pytest.mark.parametrize(("gross_mg", "fine_mg"), [(0, 0), (10, 11), (10, -1)])
def test_what_is_no_bar_has_no_weight(gross_mg, fine_mg):
    with pytest.raises(Refused):
        market_weight("Au", gross_mg, fine_mg)
