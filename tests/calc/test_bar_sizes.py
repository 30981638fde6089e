"""Nominal sizes of bars, and serials drawn together."""

import pytest

from custody.calc.bar_sizes import LONDON, OTHER, SIZES, nominal_size, serial_ranges


@pytest.mark.parametrize(
    ("gross_mg", "size"),
    [
        (1_000_000, "1 kg"),
        (1_000_012, "1 kg"),
        (995_000, "1 kg"),  # half a per cent below, the last that counts
        (994_999, OTHER),
        (1_005_001, OTHER),
        (100_000, "100 g"),
        (31_103, "1 ozt"),  # 31.1034768 g (ISO 31-3)
        (311_035, "10 ozt"),
        (10_886_217, LONDON),  # 350 ozt
        (10_886_216, OTHER),
        (13_374_495, LONDON),  # 430 ozt
        (13_374_496, OTHER),
        (0, OTHER),
    ],
)
def test_a_bar_stands_in_the_size_it_is_near(gross_mg, size):
    assert nominal_size(gross_mg) == size
    assert size in SIZES


def test_sizes_are_listed_from_the_largest_down():
    assert SIZES[0] == LONDON
    assert SIZES[-1] == OTHER
    assert SIZES.index("100 ozt") < SIZES.index("1 kg") < SIZES.index("1 ozt") < SIZES.index("5 g")


@pytest.mark.parametrize(
    ("serials", "told"),
    [
        ([], []),
        (["000010", "000002", "000001", "000003"], ["000001 to 000003", "000010"]),
        (["A000009", "A000010"], ["A000009 to A000010"]),
        (["A9", "A10"], ["A9", "A10"]),  # another length is another run of the stamp
        (["A1", "B2"], ["A1", "B2"]),
        (["X", "Y"], ["X", "Y"]),
    ],
)
def test_consecutive_serials_are_drawn_together(serials, told):
    assert serial_ranges(serials) == told
