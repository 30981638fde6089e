"""A cell over its time, as SVG drawn on the server: the current above, the deposit expected and weighed below.

No script and no style: presentation attributes, and the classes of the control chart. Values are exact; a drawing
coordinate is a whole number of tenths of a unit. What was weighed is a square with its mass in words, never a colour
alone.
"""

from datetime import datetime, timedelta
from fractions import Fraction

from django.utils import timezone

from custody.calc.cell import Cell, points, rounded_mg
from custody.calc.mass import format_grams
from custody.documents import drawing
from custody.documents.drawing import INK, tenths, text

WIDTH, HEIGHT = 680, 360
LEFT, RIGHT = 92, 16
#: Top and bottom of the two fields.
CURRENT, DEPOSIT = (26, 110), (150, 326)
_US = timedelta(microseconds=1)


def svg(cell: Cell, *, until: datetime, title: str, desc: str, key: str = "cell") -> str:
    """The chart as an SVG element, safe to put into a page as it stands; it ends at ``until`` or the last event."""
    span = (cell.began, max([until, *points(cell)]))
    most = max((one.milliampere for one in cell.currents), default=0) or 1
    weighed = [(one.at, Fraction(cell.weighed_mg(one.at))) for one in cell.cathodes]
    expected = [(at, cell.expected_mg(at)) for at in points(cell)]
    top = max([mg for _, mg in (*weighed, *expected)] + [Fraction(1)])
    drawn = [
        *_field(CURRENT, "Current, A", _amperes(most)),
        *_field(DEPOSIT, f"{cell.metal} expected (line) and weighed (squares), g", _grams(top)),
        *_days(span),
        *(_step(cell, number, span, most) for number in range(len(cell.currents))),
        drawing.line([(_x(at, span), _y(mg, top, DEPOSIT)) for at, mg in expected], "2"),
        *(_square(_x(at, span), _y(mg, top, DEPOSIT), at, mg) for at, mg in weighed),
    ]
    return drawing.chart(drawn, width=WIDTH, height=HEIGHT, title=title, desc=desc, key=key)


def _amperes(milliampere: int) -> str:
    whole, part = divmod(milliampere, 1000)
    return f"{whole}.{part:03d}".rstrip("0").rstrip(".")


def _grams(mg: Fraction) -> str:
    return format_grams(rounded_mg(mg))


def _x(at: datetime, span: tuple[datetime, datetime]) -> str:
    length = max((span[1] - span[0]) // _US, 1)
    return tenths(LEFT + Fraction((WIDTH - LEFT - RIGHT) * ((at - span[0]) // _US), length))


def _y(value: Fraction, most: Fraction, field: tuple[int, int]) -> str:
    top, bottom = field
    return tenths(bottom - Fraction((bottom - top) * max(value, Fraction(0))) / most)


def _field(field: tuple[int, int], name: str, most: str) -> list[str]:
    top, bottom = field
    return [
        drawing.frame(LEFT, top, WIDTH - RIGHT, bottom),
        drawing.label(LEFT, top - 8, name, colour=INK, bold=True),
        drawing.label(LEFT - 6, top + 4, most, anchor="end"),
        drawing.label(LEFT - 6, bottom, "0", anchor="end"),
    ]


def _days(span: tuple[datetime, datetime]) -> list[str]:
    ends = ((LEFT, span[0], "start"), (WIDTH - RIGHT, span[1], "end"))
    return [drawing.label(x, DEPOSIT[1] + 20, _clock(at), anchor=anchor) for x, at, anchor in ends]


def _clock(at: datetime) -> str:
    return f"{timezone.localtime(at):%Y-%m-%d %H:%M}"


def _step(cell: Cell, number: int, span: tuple[datetime, datetime], most: int) -> str:
    one = cell.currents[number]
    left, right = _x(one.from_at, span), _x(one.to_at, span)
    y = _y(Fraction(one.milliampere), Fraction(most), CURRENT)
    return (
        f'<path class="chart-ink" d="M{left} {CURRENT[1]}V{y}H{right}V{CURRENT[1]}" fill="none" stroke="{INK}"'
        f' stroke-width="1.4"><title>{_amperes(one.milliampere)} A</title></path>'
    )


def _square(x: str, y: str, at: datetime, mg: Fraction) -> str:
    name = f"{_clock(at)}: {_grams(mg)} g weighed"
    return (
        f'<rect class="chart-dot" x="-5" y="-5" width="10" height="10" fill="{INK}" transform="translate({x} {y})">'
        f"<title>{text(name)}</title></rect>"
    )
