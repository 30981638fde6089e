"""Prices of one metal, currency and fixing over days, as SVG drawn on the server: a line, doubtful ones as diamonds.

No script and no style: presentation attributes, and the classes of the control chart. Values are exact; a drawing
coordinate is a whole number of tenths of a unit. A doubtful price stands beside the line, for it counts for nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from custody.calc.rounding import to_places
from custody.documents import drawing
from custody.documents.drawing import RULE, tenths
from custody.templatetags.papers import price

WIDTH, HEIGHT = 760, 280
LEFT, RIGHT, TOP, BOTTOM = 84, 20, 14, 34
#: At most so many lines of the scale.
MARKS = 6
#: Room above and below the outermost price, as a share of what is shown; of one price alone, a share of itself.
ROOM, ALONE = Fraction(1, 12), Fraction(1, 100)


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
    drawn = [*_frame(points, unit), *_marks(low, high)]
    sure = [(_x(one.day, points), _y(one.amount, low, high)) for one in points if one.sure]
    drawn.append(drawing.line(sure, "1.6"))
    drawn += [_point(one, points, low, high, unit) for one in points]
    return drawing.chart(drawn, width=WIDTH, height=HEIGHT, title=title, desc=desc, key=key)


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
    shown = range(first, high // step + 1)
    return [part for number in shown for part in _mark(number * step, places, low, high)]


def _x(day: date, points: Sequence[Point]) -> str:
    first, last = points[0].day, points[-1].day
    days = max((last - first).days, 1)
    return tenths(LEFT + Fraction((WIDTH - LEFT - RIGHT) * (day - first).days, days))


def _y(value: Decimal | Fraction, low: Fraction, high: Fraction) -> str:
    return tenths(TOP + (high - Fraction(value)) / (high - low) * (HEIGHT - TOP - BOTTOM))


def _frame(points: Sequence[Point], unit: str) -> list[str]:
    """The field, the first and the last day below it, and the unit of the scale."""
    below, first, last = HEIGHT - BOTTOM + 18, points[0].day, points[-1].day
    days = [drawing.label(LEFT, below, str(first))]
    if last != first:
        days.append(drawing.label(WIDTH - RIGHT, below, str(last), anchor="end"))
    return [
        drawing.frame(LEFT, TOP, WIDTH - RIGHT, HEIGHT - BOTTOM),
        *days,
        drawing.label((WIDTH - RIGHT + LEFT) // 2, below, unit, anchor="middle"),
    ]


def _mark(value: Fraction, places: int, low: Fraction, high: Fraction) -> tuple[str, str]:
    y = _y(value, low, high)
    return (
        drawing.level(LEFT, WIDTH - RIGHT, y, "chart-rule", RULE, "0.5", "2 3"),
        drawing.label(LEFT - 6, y, price(to_places(value, places)), anchor="end", middle=True),
    )


def _point(one: Point, points: Sequence[Point], low: Fraction, high: Fraction, unit: str) -> str:
    x, y = _x(one.day, points), _y(one.amount, low, high)
    name = f"{one.day}: {price(one.amount)} {unit}{'' if one.sure else ', doubtful'}"
    return drawing.dot(x, y, "2.4", name) if one.sure else drawing.signal(x, y, name)
