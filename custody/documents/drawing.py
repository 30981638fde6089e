"""What every chart drawn on the server is made of: its colours, its element, its field, its lines and its diamonds.

No script and no style: presentation attributes, and classes for which a screen's stylesheet has colours of its own.
Values are exact; a drawing coordinate is a whole number of tenths of a unit.
"""

import re
from collections.abc import Iterable
from fractions import Fraction

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from custody.calc.rounding import half_even

INK, SOFT, RULE, LINE, SIGNAL = "#211d17", "#5b5244", "#857a67", "#1b5a4f", "#8c211b"

#: What no XML may hold, not even escaped (XML 1.0, production 2).
NO_XML = re.compile("[^\\t\\n\\r\\x20-\\ud7ff\\ue000-\\ufffd\\U00010000-\\U0010ffff]")


def text(value: str) -> str:
    """Text fit for XML: escaped, and without the control characters that no XML may hold."""
    return escape(NO_XML.sub("", value))


def tenths(value: Fraction) -> str:
    """A coordinate, rounded at the very end to a tenth of a unit."""
    whole, tenth = divmod(half_even(value.numerator * 10, value.denominator), 10)
    return f"{whole}.{tenth}"


def chart(drawn: Iterable[str], *, width: int, height: int, title: str, desc: str, key: str) -> SafeString:
    """The SVG element; ``title`` and ``desc`` name it for a screen reader, ``key`` keeps its ids apart from others'.

    Every word in ``drawn`` must have gone through ``text``: it stands in a page as it is.
    """
    return mark_safe(
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img" aria-labelledby="{key}-title {key}-desc"'
        f' viewBox="0 0 {width} {height}" width="{width}" height="{height}"'
        f' font-family="DejaVu Sans, Liberation Sans, sans-serif" font-size="11">'
        f'<title id="{key}-title">{text(title)}</title><desc id="{key}-desc">{text(desc)}</desc>'
        f"{''.join(drawn)}</svg>"
    )


def frame(left: int, top: int, right: int, bottom: int) -> str:
    """The field that a chart's points lie in, by its edges."""
    return (
        f'<rect class="chart-rule" x="{left}" y="{top}" width="{right - left}" height="{bottom - top}"'
        f' fill="none" stroke="{RULE}" stroke-width="1"/>'
    )


def level(left: int, right: int, y: str, css: str, colour: str, width: str, dash: str = "") -> str:
    """A line across the field at one figure of its scale."""
    return (
        f'<line class="{css}" x1="{left}" x2="{right}" y1="{y}" y2="{y}" stroke="{colour}"'
        f' stroke-width="{width}"{_dashes(dash)}/>'
    )


def line(places: Iterable[tuple[str, str]], width: str, css: str = "chart-average", dash: str = "") -> str:
    """A line through places, each (x, y): the average's colour, or that of the rules."""
    spots = " ".join(f"{x},{y}" for x, y in places)
    return (
        f'<polyline class="{css}" points="{spots}" fill="none" stroke="{RULE if css == "chart-rule" else LINE}"'
        f' stroke-width="{width}" stroke-linejoin="round"{_dashes(dash)}/>'
    )


def label(
    x: int, y: int | str, words: str, *, colour: str = SOFT, anchor: str = "start", middle: bool = False,
    bold: bool = False,
) -> str:  # fmt: skip
    """Words that start, end or have their middle at ``x``; ``middle``: that have their half height at ``y``."""
    more = f' text-anchor="{anchor}"' + ' dominant-baseline="middle"' * middle + ' font-weight="bold"' * bold
    return f'<text x="{x}" y="{y}" fill="{colour}"{more}>{text(words)}</text>'


def dot(x: str, y: str, radius: str, name: str) -> str:
    """A point, which says its name."""
    return f'<circle class="chart-dot" cx="{x}" cy="{y}" r="{radius}" fill="{INK}"><title>{text(name)}</title></circle>'


def signal(x: str, y: str, name: str, number: str = "") -> str:
    """A point that needs a look: a diamond, with its number above it, so that nothing rests on colour."""
    above = f'<text x="{x}" y="{y}" dy="-10" fill="{INK}" text-anchor="middle" font-weight="bold">{text(number)}</text>'
    return (
        f'<g class="chart-signal"><title>{text(name)}</title><rect x="-5" y="-5" width="10" height="10"'
        f' fill="{SIGNAL}" stroke="{INK}" transform="translate({x} {y}) rotate(45)"/>{above if number else ""}</g>'
    )


def _dashes(dash: str) -> str:
    return f' stroke-dasharray="{dash}"' if dash else ""
