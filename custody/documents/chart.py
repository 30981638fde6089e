"""A control chart as SVG drawn on the server: points in their order, centre line, limits, a smoothed line, and signals.

For screens and papers alike: no script, no style, presentation attributes and classes only. Values are exact fractions;
a drawing coordinate is a whole number of tenths of a unit. A signal is a diamond with its number, never a colour alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from custody.calc.mass import MINUS
from custody.calc.rounding import to_places
from custody.documents import drawing
from custody.documents.drawing import INK, tenths

WIDTH, HEIGHT = 760, 300
LEFT, RIGHT, TOP, BOTTOM = 64, 86, 14, 34
#: Room above and below the outermost value or limit, as a share of what is shown.
ROOM = Fraction(1, 12)


@dataclass(frozen=True, slots=True)
class Chart:
    """What is drawn. ``limits`` and ``smooth_limits`` are (lower, upper); ``signals`` are numbers of points, from 1."""

    values: tuple[Fraction, ...]
    centre: Fraction
    limits: tuple[Fraction, Fraction]
    smooth: tuple[Fraction, ...] = ()
    smooth_limits: tuple[tuple[Fraction, Fraction], ...] = ()
    signals: frozenset[int] = frozenset()
    unit: str = ""
    first: int = 1

    @property
    def span(self) -> tuple[Fraction, Fraction]:
        """The lowest and the highest figure shown, with room."""
        shown = [*self.values, *self.smooth, self.centre, *self.limits]
        shown += [edge for pair in self.smooth_limits for edge in pair]
        low, high = min(shown), max(shown)
        room = (high - low) * ROOM or Fraction(1)
        return low - room, high + room


def svg(chart: Chart, *, title: str, desc: str, key: str = "chart") -> str:
    """The chart as an SVG element, safe to put into a page as it stands. Raises ``ValueError`` without points."""
    if not chart.values:
        raise ValueError("A control chart needs at least one point.")
    drawn = [*_axis(chart), *_level(chart, chart.centre, "centre", "")]
    for edge, word in zip(chart.limits, ("lower", "upper"), strict=True):
        drawn += _level(chart, edge, word, "7 4")
    for side in (0, 1):
        if chart.smooth_limits:
            edges = _places(chart, [pair[side] for pair in chart.smooth_limits])
            drawn.append(drawing.line(edges, "1.0", "chart-rule", "2 3"))
    if chart.smooth:
        drawn.append(drawing.line(_places(chart, chart.smooth), "2.2"))
    drawn.append(drawing.line(_places(chart, chart.values), "0.8", "chart-rule"))
    drawn += [_point(chart, number, value) for number, value in enumerate(chart.values, 1)]
    return drawing.chart(drawn, width=WIDTH, height=HEIGHT, title=title, desc=desc, key=key)


def signed(value: Fraction) -> str:
    """An exact value with three decimals, half to even, and its sign: a true minus."""
    return f"{to_places(value, 3):+f}".replace("-", MINUS)


def _x(chart: Chart, number: int) -> str:
    steps = max(len(chart.values) - 1, 1)
    return tenths(Fraction((WIDTH - LEFT - RIGHT) * (number - 1), steps) + LEFT)


def _y(chart: Chart, value: Fraction) -> str:
    low, high = chart.span
    return tenths(TOP + (high - value) / (high - low) * (HEIGHT - TOP - BOTTOM))


def _axis(chart: Chart) -> list[str]:
    """The first and last number of a point below, the unit above the scale."""
    below, last = HEIGHT - BOTTOM + 18, chart.first + len(chart.values) - 1
    ends = [drawing.label(LEFT, below, str(chart.first))]
    if last > chart.first:
        ends.append(drawing.label(WIDTH - RIGHT, below, str(last), anchor="end"))
    words = f"number of the proof; scale in {chart.unit}"
    return [
        drawing.frame(LEFT, TOP, WIDTH - RIGHT, HEIGHT - BOTTOM),
        *ends,
        drawing.label((WIDTH - RIGHT + LEFT) // 2, below, words, anchor="middle"),
    ]


def _level(chart: Chart, value: Fraction, word: str, dash: str) -> tuple[str, ...]:
    y = _y(chart, value)
    return (
        drawing.level(LEFT, WIDTH - RIGHT, y, "chart-ink", INK, "1.2", dash),
        drawing.label(WIDTH - RIGHT + 6, y, word, colour=INK, middle=True),
        drawing.label(LEFT - 6, y, signed(value), colour=INK, anchor="end", middle=True),
    )


def _places(chart: Chart, values: Sequence[Fraction]) -> list[tuple[str, str]]:
    return [(_x(chart, number), _y(chart, value)) for number, value in enumerate(values, 1)]


def _point(chart: Chart, number: int, value: Fraction) -> str:
    x, y, at = _x(chart, number), _y(chart, value), chart.first + number - 1
    name = f"proof {at}: {signed(value)} {chart.unit}"
    return drawing.signal(x, y, name, str(at)) if number in chart.signals else drawing.dot(x, y, "3.2", name)
