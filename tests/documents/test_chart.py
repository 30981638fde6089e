"""The control chart as SVG: points where they belong, signals by shape and number, safe to put into a page."""

import xml.etree.ElementTree as ET
from fractions import Fraction

import pytest

from custody.calc import control
from custody.documents.chart import Chart, svg

SVG = "{http://www.w3.org/2000/svg}"


def drawn(values, **changes):
    chart = Chart(
        tuple(map(Fraction, values)),
        **{"centre": Fraction(10), "limits": (Fraction(7), Fraction(13)), "unit": "‰"} | changes,
    )
    return ET.fromstring(svg(chart, title="Proofs <of> Au", desc="in words"))


def test_points_stand_in_their_order_and_height():
    circles = drawn([8, 12, 10]).findall(f"{SVG}circle")
    xs = [Fraction(circle.get("cx")) for circle in circles]
    ys = [Fraction(circle.get("cy")) for circle in circles]
    assert xs == sorted(xs)
    assert ys[1] < ys[2] < ys[0]  # up is more
    assert abs((ys[0] + ys[1]) / 2 - ys[2]) <= Fraction(1, 10)  # 10 lies midway between 8 and 12


def test_a_signal_is_a_numbered_diamond():
    picture = drawn([10, 10, 15], signals=frozenset({3}), first=41)
    assert len(picture.findall(f"{SVG}circle")) == 2
    (signal,) = picture.findall(f"{SVG}g[@class='chart-signal']")
    assert signal.find(f"{SVG}text").text == "43"
    assert "rotate(45)" in signal.find(f"{SVG}rect").get("transform")


def test_limits_and_centre_are_named_with_their_figures():
    words = ["".join(text.itertext()) for text in drawn([10, 11]).iter(f"{SVG}text")]
    assert {"centre", "lower", "upper", "+10.000", "+7.000", "+13.000"} <= set(words)


def test_titles_are_escaped_and_nothing_is_styled_inline():
    text = svg(Chart((Fraction(1),), Fraction(1), (Fraction(0), Fraction(2))), title="<b>", desc="&")
    assert "<b>" not in text
    assert "style=" not in text
    assert "<script" not in text


def test_a_chart_without_points():
    with pytest.raises(ValueError, match="at least one point"):
        svg(Chart((), Fraction(1), (Fraction(0), Fraction(2))), title="", desc="")


def test_the_published_series_signals_where_it_is_published():
    """Montgomery, Introduction to Statistical Quality Control, table 9.1 with EWMA 0.10 and 2.7: points 29 and 30."""
    values = [
        "9.45", "7.99", "9.29", "11.66", "12.16", "10.18", "8.04", "11.46", "9.20", "10.34",
        "9.03", "11.47", "10.51", "9.40", "10.08", "9.37", "10.62", "10.31", "8.52", "10.84",
        "10.90", "9.33", "12.29", "11.50", "10.60", "11.08", "10.38", "11.62", "11.31", "10.52",
    ]  # fmt: skip
    exact = [Fraction(value) for value in values]
    average = control.ewma(exact, target=10, sigma=1, weight=Fraction(1, 10), width=Fraction(27, 10))
    numbers = frozenset(signal.point for signal in average.signals)
    picture = drawn(exact, smooth=average.averages, signals=numbers)
    shown = [group.find(f"{SVG}text").text for group in picture.findall(f"{SVG}g[@class='chart-signal']")]
    assert shown == ["29", "30"]
