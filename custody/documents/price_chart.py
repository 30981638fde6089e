"""Prices of one metal, currency and fixing over days, as SVG drawn on the server: a line, doubtful ones as diamonds.

No script and no style: presentation attributes, and the classes of the control chart. Values are exact; a drawing
coordinate is a whole number of tenths of a unit. A doubtful price stands beside the line, for it counts for nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from django.utils.safestring import mark_safe

from custody.calc.rounding import half_even, to_places
from custody.documents.flow import text
from custody.templatetags.papers import price

WIDTH, HEIGHT = 760, 280
LEFT, RIGHT, TOP, BOTTOM = 84, 20, 14, 34
#: At most so many lines of the scale.
MARKS = 6
#: Room above and below the outermost price, as a share of what is shown; of one price alone, a share of itself.
ROOM, ALONE = Fraction(1, 12), Fraction(1, 100)
INK, SOFT, RULE, LINE, SIGNAL = "#211d17", "#5b5244", "#857a67", "#1b5a4f", "#8c211b"


@dataclass(frozen=True, slots=True)
class Point:
    """One day's price, and whether it counts."""

    day: date
    amount: Decimal
    sure: bool = True


def svg(points: Sequence[Point], *, title: str, desc: str, unit: str, key: str = "prices") -> str:
    """The chart of prices in the order of their days, safe to put into a page. Raises ``ValueError`` without points."""
    if not points:
        raise ValueError("A chart of prices needs at least one price.")
    low, high = _span(points)
    drawn = [_frame(points, unit), *_marks(low, high)]
    line = " ".join(f"{_x(one.day, points)},{_y(one.amount, low, high)}" for one in points if one.sure)
    drawn.append(
        f'<polyline class="chart-average" points="{line}" fill="none" stroke="{LINE}" stroke-width="1.6"'
        ' stroke-linejoin="round"/>'
    )
    drawn += [_point(one, points, low, high, unit) for one in points]
    return mark_safe(  # every text in it went through text()
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" aria-labelledby="{key}-title {key}-desc"'
        f' viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
        f' font-family="DejaVu Sans, Liberation Sans, sans-serif" font-size="11">'
        f'<title id="{key}-title">{text(title)}</title><desc id="{key}-desc">{text(desc)}</desc>'
        f"{''.join(drawn)}</svg>"
    )


def _span(points: Sequence[Point]) -> tuple[Fraction, Fraction]:
    """The lowest and highest figure shown, with room."""
    low, high = (Fraction(pick(one.amount for one in points)) for pick in (min, max))
    room = (high - low) * ROOM or high * ALONE
    return low - room, high + room


def _marks(low: Fraction, high: Fraction) -> list[str]:
    """Round figures of the scale: steps of 1, 2 or 5 times a power of ten, all with as many decimals as the step."""
    power = Fraction(1)
    while power * 10 <= high - low:
        power *= 10
    while power > high - low:
        power /= 10
    step = next(step for step in (power / 5, power / 2, power, power * 2, power * 5) if (high - low) / step < MARKS)
    first = -(-low // step)
    places = next(places for places in range(40) if step * 10**places % 1 == 0)
    return [_mark(number * step, places, low, high) for number in range(first, high // step + 1)]


def _x(day: date, points: Sequence[Point]) -> str:
    first, last = points[0].day, points[-1].day
    days = max((last - first).days, 1)
    return _tenths(LEFT + Fraction((WIDTH - LEFT - RIGHT) * (day - first).days, days))


def _y(value: Decimal | Fraction, low: Fraction, high: Fraction) -> str:
    return _tenths(TOP + (high - Fraction(value)) / (high - low) * (HEIGHT - TOP - BOTTOM))


def _tenths(value: Fraction) -> str:
    whole, tenth = divmod(half_even(value.numerator * 10, value.denominator), 10)
    return f"{whole}.{tenth}"


def _frame(points: Sequence[Point], unit: str) -> str:
    """The field, the first and the last day below it, and the unit of the scale."""
    below = HEIGHT - BOTTOM + 18
    ends = [(LEFT, points[0].day, "start"), (WIDTH - RIGHT, points[-1].day, "end")]
    days = "".join(
        f'<text x="{x}" y="{below}" fill="{SOFT}" text-anchor="{anchor}">{day}</text>'
        for x, day, anchor in (ends if len({day for _, day, _ in ends}) > 1 else ends[:1])
    )
    return (
        f'<rect class="chart-rule" x="{LEFT}" y="{TOP}" width="{WIDTH - LEFT - RIGHT}"'
        f' height="{HEIGHT - TOP - BOTTOM}" fill="none" stroke="{RULE}" stroke-width="1"/>{days}'
        f'<text x="{(WIDTH - RIGHT + LEFT) // 2}" y="{below}" fill="{SOFT}" text-anchor="middle">{text(unit)}</text>'
    )


def _mark(value: Fraction, places: int, low: Fraction, high: Fraction) -> str:
    y = _y(value, low, high)
    return (
        f'<line class="chart-rule" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y}" y2="{y}" stroke="{RULE}"'
        ' stroke-width="0.5" stroke-dasharray="2 3"/>'
        f'<text x="{LEFT - 6}" y="{y}" fill="{SOFT}" text-anchor="end" dominant-baseline="middle">'
        f"{price(to_places(value, places))}</text>"
    )


def _point(one: Point, points: Sequence[Point], low: Fraction, high: Fraction, unit: str) -> str:
    x, y = _x(one.day, points), _y(one.amount, low, high)
    doubt = "" if one.sure else ", doubtful"
    name = f"<title>{one.day}: {price(one.amount)} {text(unit)}{doubt}</title>"
    if one.sure:
        return f'<circle class="chart-dot" cx="{x}" cy="{y}" r="2.4" fill="{INK}">{name}</circle>'
    return (
        f'<g class="chart-signal">{name}<rect x="-5" y="-5" width="10" height="10" fill="{SIGNAL}" stroke="{INK}"'
        f' transform="translate({x} {y}) rotate(45)"/></g>'
    )
