"""A CSV file: what somebody typed is no formula in it, a figure stays one."""

import pytest

from custody.web.csv_file import csv_file


@pytest.mark.parametrize(
    ("cell", "kept"),
    [
        ("=CMD()", "'=CMD()"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("+1+cmd", "'+1+cmd"),
        ("-0.500", "-0.500"),
        ("-1,5", '"\'-1,5"'),
        ('he said "no"', '"he said ""no"""'),
    ],
)
def test_no_cell_is_a_formula(cell, kept):
    assert csv_file("x.csv", [("head",), (cell,)]).getvalue().decode() == f"head\r\n{kept}\r\n"
