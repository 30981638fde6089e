"""A control chart as SVG drawn on the server: points in their order, centre line, limits, a smoothed line, and signals.

For screens and papers alike: no script, no style, presentation attributes and classes only. Values are exact fractions;
a drawing coordinate is a whole number of tenths of a unit. A signal is a diamond with its number, never a colour alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from django.utils.safestring import mark_safe

from custody.calc.mass import MINUS
from custody.calc.rounding import half_even, to_places
from custody.documents.flow import text

WIDTH, HEIGHT = 760, 300
LEFT, RIGHT, TOP, BOTTOM = 64, 86, 14, 34
#: Room above and below the outermost value or limit, as a share of what is shown.
ROOM = Fraction(1, 12)
INK, SOFT, RULE = "#211d17", "#5b5244", "#857a67"
#: Colours of lines on paper; a screen's stylesheet has its own for the same classes.
COLOURS = {"chart-rule": RULE, "chart-average": "#1b5a4f"}


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
    drawn = [_axis(chart), _level(chart, chart.centre, "centre", "")]
    drawn += [_level(chart, edge, word, "7 4") for edge, word in zip(chart.limits, ("lower", "upper"), strict=True)]
    for side in (0, 1):
        if chart.smooth_limits:
            drawn.append(_line(chart, [pair[side] for pair in chart.smooth_limits], "chart-rule", "2 3", 10))
    if chart.smooth:
        drawn.append(_line(chart, chart.smooth, "chart-average", "", 22))
    drawn.append(_line(chart, chart.values, "chart-rule", "", 8))
    drawn += [_point(chart, number, value) for number, value in enumerate(chart.values, 1)]
    return mark_safe(  # every text in it went through text()
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" aria-labelledby="{key}-title {key}-desc"'
        f' viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
        f' font-family="DejaVu Sans, Liberation Sans, sans-serif" font-size="11">'
        f'<title id="{key}-title">{text(title)}</title><desc id="{key}-desc">{text(desc)}</desc>'
        f"{''.join(drawn)}</svg>"
    )


def signed(value: Fraction) -> str:
    """An exact value with three decimals, half to even, and its sign: a true minus."""
    return f"{to_places(value, 3):+f}".replace("-", MINUS)


def _x(chart: Chart, number: int) -> str:
    steps = max(len(chart.values) - 1, 1)
    return _tenths(Fraction((WIDTH - LEFT - RIGHT) * (number - 1), steps) + LEFT)


def _y(chart: Chart, value: Fraction) -> str:
    low, high = chart.span
    return _tenths(TOP + (high - value) / (high - low) * (HEIGHT - TOP - BOTTOM))


def _tenths(value: Fraction) -> str:
    whole, tenth = divmod(half_even(value.numerator * 10, value.denominator), 10)
    return f"{whole}.{tenth}"


def _axis(chart: Chart) -> str:
    """The first and last number of a point below, the unit above the scale."""
    below = HEIGHT - BOTTOM + 18
    last = chart.first + len(chart.values) - 1
    ends = [(LEFT, str(chart.first), "start")]
    if last > chart.first:
        ends.append((WIDTH - RIGHT, str(last), "end"))
    marks = "".join(
        f'<text x="{x}" y="{below}" fill="{SOFT}" text-anchor="{anchor}">{words}</text>' for x, words, anchor in ends
    )
    return (
        f'<rect class="chart-rule" x="{LEFT}" y="{TOP}" width="{WIDTH - LEFT - RIGHT}"'
        f' height="{HEIGHT - TOP - BOTTOM}" fill="none" stroke="{RULE}" stroke-width="1"/>{marks}'
        f'<text x="{(WIDTH - RIGHT + LEFT) // 2}" y="{below}" fill="{SOFT}" text-anchor="middle">number of the proof;'
        f" scale in {text(chart.unit)}</text>"
    )


def _level(chart: Chart, value: Fraction, word: str, dash: str) -> str:
    y = _y(chart, value)
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line class="chart-ink" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y}" y2="{y}" stroke="{INK}"'
        f' stroke-width="1.2"{dashes}/>'
        f'<text x="{WIDTH - RIGHT + 6}" y="{y}" fill="{INK}" dominant-baseline="middle">{word}</text>'
        f'<text x="{LEFT - 6}" y="{y}" fill="{INK}" text-anchor="end" dominant-baseline="middle">'
        f"{signed(value)}</text>"
    )


def _line(chart: Chart, values: Sequence[Fraction], css: str, dash: str, tenths: int) -> str:
    points = " ".join(f"{_x(chart, number)},{_y(chart, value)}" for number, value in enumerate(values, 1))
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<polyline class="{css}" points="{points}" fill="none" stroke="{COLOURS[css]}"'
        f' stroke-width="{tenths // 10}.{tenths % 10}"{dashes}/>'
    )


def _point(chart: Chart, number: int, value: Fraction) -> str:
    x, y = _x(chart, number), _y(chart, value)
    name = f"<title>proof {chart.first + number - 1}: {signed(value)} {text(chart.unit)}</title>"
    if number not in chart.signals:
        return f'<circle class="chart-dot" cx="{x}" cy="{y}" r="3.2" fill="{INK}">{name}</circle>'
    return (
        f'<g class="chart-signal">{name}<rect x="-5" y="-5" width="10" height="10" fill="#8c211b" stroke="{INK}"'
        f' transform="translate({x} {y}) rotate(45)"/><text x="{x}" y="{y}" dy="-10" fill="{INK}"'
        f' text-anchor="middle" font-weight="bold">{chart.first + number - 1}</text></g>'
    )
