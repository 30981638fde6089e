"""The chart of prices: each day in its place, round figures beside it, doubtful ones beside the line."""

import xml.etree.ElementTree as ET
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest

from custody.documents.price_chart import Point, svg

SVG = "{http://www.w3.org/2000/svg}"


def drawn(*points):
    made = [Point(date(2024, 1, day), Decimal(amount), sure) for day, amount, sure in points]
    return ET.fromstring(svg(made, title="Au <daily>", desc="in words", unit="USD/ozt"))


def texts(picture):
    return ["".join(text.itertext()) for text in picture.iter(f"{SVG}text")]


def test_days_stand_as_far_apart_as_they_are():
    dots = drawn((1, "2000", True), (2, "2010", True), (11, "1990", True)).findall(f"{SVG}circle")
    xs, ys = ([Fraction(dot.get(axis)) for dot in dots] for axis in ("cx", "cy"))
    assert xs[2] - xs[0] == 10 * (xs[1] - xs[0])
    assert ys[1] < ys[0] < ys[2]  # up is more
    assert abs((ys[1] + ys[2]) / 2 - ys[0]) <= Fraction(1, 10)


def test_round_figures_and_the_first_and_last_day():
    words = texts(drawn((1, "1987.35", True), (31, "2041.10", True)))
    assert words == ["2024-01-01", "2024-01-31", "USD/ozt", "2\u202f000", "2\u202f020", "2\u202f040"]
    assert texts(drawn((1, "0.6985", True), (2, "0.7123", True)))[3:] == ["0.700", "0.705", "0.710"]
    alone = texts(drawn((1, "0.0001", True)))
    assert alone[:2] == ["2024-01-01", "USD/ozt"]
    assert "0.0001000" in alone
    assert len(set(alone)) == len(alone), "two marks that read the same say nothing"


def test_a_doubtful_one_is_a_diamond_and_no_point_of_the_line():
    picture = drawn((1, "2000", True), (2, "20000", False), (3, "2001", True))
    (line,) = picture.findall(f"{SVG}polyline")
    assert len(line.get("points").split()) == 2
    (signal,) = picture.findall(f"{SVG}g[@class='chart-signal']")
    assert signal.find(f"{SVG}title").text == "2024-01-02: 20\u202f000 USD/ozt, doubtful"


def test_safe_in_a_page():
    text = svg([Point(date(2024, 1, 1), Decimal(1))], title="<b>", desc="&", unit="<script>")
    assert "<b>" not in text
    assert "<script" not in text
    assert "style=" not in text
    with pytest.raises(ValueError, match="at least one price"):
        svg([], title="", desc="", unit="")
