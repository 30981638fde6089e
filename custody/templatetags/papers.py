"""Figures that only papers show; the rest is in ``metal``. Nothing here depends on the active zone or language."""

from datetime import datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import segno
from django import template

from custody.calc.assay import format_milligrams
from custody.calc.fineness import format_percent
from custody.calc.mass import GROUP
from custody.calc.money import format_money
from custody.calc.rounding import half_even
from custody.templatetags.metal import UNKNOWN, thousandths

register = template.Library()


@register.filter
def percent(ppm: int) -> str:
    """Parts per million as percent."""
    return format_percent(ppm)


@register.filter
def share(mg: int, total_mg: int) -> str:
    """A part of a total in percent, four decimals, rounded half to even; what is there never reads as nothing."""
    if not total_mg:
        return UNKNOWN
    ppm = half_even(mg * 1_000_000, total_mg)
    return "< 0.0001" if mg and not ppm else f"{ppm // 10_000}.{ppm % 10_000:04d}"


@register.filter
def milligrams(ug: int | None) -> str:
    """Micrograms as an assay balance shows them: milligrams with three decimals."""
    return UNKNOWN if ug is None else format_milligrams(ug)


@register.filter
def per_mille_of_ppb(ppb: int) -> str:
    """Parts per billion as parts per thousand with three decimals, rounded up: an uncertainty is never made smaller."""
    return thousandths(-(-ppb // 1000))


@register.filter
def amount(money: Decimal) -> str:
    """Money as it was settled, never rounded here."""
    return format_money(money)


@register.filter
def price(money: Decimal) -> str:
    """A price with every decimal it was quoted with."""
    return f"{money:,f}".replace(",", GROUP)


@register.filter
def ozt(ounces: Decimal | None) -> str:
    """Troy ounces as a list states them, three decimals, never rounded here."""
    return UNKNOWN if ounces is None else f"{ounces:,.3f}".replace(",", GROUP)


@register.filter
def local(moment: datetime, zone: str) -> str:
    """A moment on the refinery's clock, with the zone it is told in: 2024-05-03 14:20 BST (UTC+01:00)."""
    if moment.tzinfo is None:
        raise ValueError("A time on a paper needs a time zone.")
    there = moment.astimezone(ZoneInfo(zone))
    offset = there.strftime("%z")
    return f"{there:%Y-%m-%d %H:%M} {there.tzname()} (UTC{offset[:3]}:{offset[3:5]})"


@register.filter
def clock(moment: datetime, zone: str) -> str:
    """A moment on the refinery's clock for a table whose head names the zone: 2024-05-03 14:20."""
    return local(moment, zone)[:16]


@register.filter
def qr(text: str) -> str:
    """A QR code as a picture address that needs no file: SVG, with the quiet zone of four modules."""
    return segno.make_qr(text, error="m").svg_data_uri(border=4, dark="#000000", light="#ffffff")
