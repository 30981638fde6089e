"""A cell over its time, as SVG drawn on the server: the current above, the deposit expected and weighed below.

No script and no style: presentation attributes, and the classes of the control chart. Values are exact; a drawing
coordinate is a whole number of tenths of a unit. What was weighed is a square with its mass in words, never a colour
alone.
"""

from collections.abc import Sequence
from datetime import datetime, timedelta
from fractions import Fraction

from django.utils import timezone
from django.utils.safestring import mark_safe

from custody.calc.cell import Cell, points, rounded_mg
from custody.calc.mass import format_grams
from custody.calc.rounding import half_even
from custody.documents.flow import text

WIDTH, HEIGHT = 680, 360
LEFT, RIGHT = 92, 16
#: Top and bottom of the two fields.
CURRENT, DEPOSIT = (26, 110), (150, 326)
INK, SOFT, RULE, LINE = "#211d17", "#5b5244", "#857a67", "#1b5a4f"
_US = timedelta(microseconds=1)


def svg(cell: Cell, *, until: datetime, title: str, desc: str, key: str = "cell") -> str:
    """The chart as an SVG element, safe to put into a page as it stands; it ends at ``until`` or the last event."""
    span = (cell.began, max([until, *points(cell)]))
    most = max((one.milliampere for one in cell.currents), default=0) or 1
    weighed = [(one.at, Fraction(cell.weighed_mg(one.at))) for one in cell.cathodes]
    expected = [(at, cell.expected_mg(at)) for at in points(cell)]
    top = max([mg for _, mg in (*weighed, *expected)] + [Fraction(1)])
    drawn = [
        _field(CURRENT, "Current, A", _amperes(most)),
        _field(DEPOSIT, f"{cell.metal} expected (line) and weighed (squares), g", _grams(top)),
        _days(span),
        *(_step(cell, number, span, most) for number in range(len(cell.currents))),
        _line([(_x(at, span), _y(mg, top, DEPOSIT)) for at, mg in expected]),
        *(_square(_x(at, span), _y(mg, top, DEPOSIT), at, mg) for at, mg in weighed),
    ]
    return mark_safe(  # every text in it went through text()
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" aria-labelledby="{key}-title {key}-desc"'
        f' viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}"'
        f' font-family="DejaVu Sans, Liberation Sans, sans-serif" font-size="11">'
        f'<title id="{key}-title">{text(title)}</title><desc id="{key}-desc">{text(desc)}</desc>'
        f"{''.join(drawn)}</svg>"
    )


def _amperes(milliampere: int) -> str:
    whole, part = divmod(milliampere, 1000)
    return f"{whole}.{part:03d}".rstrip("0").rstrip(".")


def _grams(mg: Fraction) -> str:
    return format_grams(rounded_mg(mg))


def _tenths(value: Fraction) -> str:
    whole, tenth = divmod(half_even(value.numerator * 10, value.denominator), 10)
    return f"{whole}.{tenth}"


def _x(at: datetime, span: tuple[datetime, datetime]) -> str:
    length = max((span[1] - span[0]) // _US, 1)
    return _tenths(LEFT + Fraction((WIDTH - LEFT - RIGHT) * ((at - span[0]) // _US), length))


def _y(value: Fraction, most: Fraction, field: tuple[int, int]) -> str:
    top, bottom = field
    return _tenths(bottom - Fraction((bottom - top) * max(value, Fraction(0))) / most)


def _field(field: tuple[int, int], name: str, most: str) -> str:
    top, bottom = field
    return (
        f'<rect class="chart-rule" x="{LEFT}" y="{top}" width="{WIDTH - LEFT - RIGHT}" height="{bottom - top}"'
        f' fill="none" stroke="{RULE}" stroke-width="1"/>'
        f'<text x="{LEFT}" y="{top - 8}" fill="{INK}" font-weight="bold">{text(name)}</text>'
        f'<text x="{LEFT - 6}" y="{top + 4}" fill="{SOFT}" text-anchor="end">{text(most)}</text>'
        f'<text x="{LEFT - 6}" y="{bottom}" fill="{SOFT}" text-anchor="end">0</text>'
    )


def _days(span: tuple[datetime, datetime]) -> str:
    ends = ((LEFT, span[0], "start"), (WIDTH - RIGHT, span[1], "end"))
    return "".join(
        f'<text x="{x}" y="{DEPOSIT[1] + 20}" fill="{SOFT}" text-anchor="{anchor}">'
        f"{timezone.localtime(at):%Y-%m-%d %H:%M}</text>"
        for x, at, anchor in ends
    )


def _step(cell: Cell, number: int, span: tuple[datetime, datetime], most: int) -> str:
    one = cell.currents[number]
    left, right = _x(one.from_at, span), _x(one.to_at, span)
    y = _y(Fraction(one.milliampere), Fraction(most), CURRENT)
    return (
        f'<path class="chart-ink" d="M{left} {CURRENT[1]}V{y}H{right}V{CURRENT[1]}" fill="none" stroke="{INK}"'
        f' stroke-width="1.4"><title>{_amperes(one.milliampere)} A</title></path>'
    )


def _line(places: Sequence[tuple[str, str]]) -> str:
    spots = " ".join(f"{x},{y}" for x, y in places)
    return f'<polyline class="chart-average" points="{spots}" fill="none" stroke="{LINE}" stroke-width="2"/>'


def _square(x: str, y: str, at: datetime, mg: Fraction) -> str:
    name = f"{timezone.localtime(at):%Y-%m-%d %H:%M}: {_grams(mg)} g weighed"
    return (
        f'<rect class="chart-dot" x="-5" y="-5" width="10" height="10" fill="{INK}" transform="translate({x} {y})">'
        f"<title>{text(name)}</title></rect>"
    )
