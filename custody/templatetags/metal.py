"""Figures as screens show them. Masses come in as integer milligrams, fineness as parts per million.

Nothing known is shown as a dash, never as zero: a lot without an assay is not a lot without gold.
"""

from datetime import UTC, datetime

from django import template
from django.utils import timezone

from custody.calc import fineness, mass

register = template.Library()

UNKNOWN = "—"


@register.filter
def grams(mg: int | None) -> str:
    """Grams with three decimals, thousands apart: ``1 234.567``."""
    return UNKNOWN if mg is None else mass.format_grams(mg)


@register.filter
def kilograms(mg: int | None) -> str:
    """Kilograms, for totals."""
    return UNKNOWN if mg is None else mass.format_kilograms(mg)


@register.filter
def ounces(mg: int | None) -> str:
    """Troy ounces with three decimals."""
    return UNKNOWN if mg is None else mass.format_troy_ounces(mg)


@register.filter
def permille(ppm: int | None) -> str:
    """Fineness with its sign: ``999.9 ‰``."""
    return UNKNOWN if ppm is None else f"{fineness.format_per_mille(ppm)}\u202f‰"


@register.filter
def permille_figure(ppm: int | None) -> str:
    """Fineness without its sign, for a column whose header has it."""
    return UNKNOWN if ppm is None else fineness.format_per_mille(ppm)


@register.filter
def thousandths(ppm: int | None) -> str:
    """Fineness with all three decimals, so that a column of results lines up: ``799.990``."""
    return UNKNOWN if ppm is None else f"{ppm // 1000}.{ppm % 1000:03d}"


@register.filter
def percent_share(mg: int | None, total_mg: int | None) -> str:
    """Share of a total in percent, two decimals, half to even; what is there but rounds to nothing says so."""
    if mg is None or not total_mg:
        return UNKNOWN
    whole, rest = divmod(abs(mg) * 10_000, abs(total_mg))
    hundredths = whole + (2 * rest > abs(total_mg) or (2 * rest == abs(total_mg) and whole % 2))
    if mg and not hundredths:
        return "< 0.01\u202f%"
    sign = mass.MINUS if (mg < 0) != (total_mg < 0) and hundredths else ""
    return f"{sign}{hundredths // 100}.{hundredths % 100:02d}\u202f%"


@register.filter
def local_time(at: datetime | None) -> str:
    """Date and minute in the refinery's zone (the active time zone)."""
    return UNKNOWN if at is None else timezone.localtime(at).strftime("%Y-%m-%d %H:%M")


@register.filter
def local_day(at: datetime | None) -> str:
    """The refinery's local day."""
    return UNKNOWN if at is None else timezone.localtime(at).strftime("%Y-%m-%d")


@register.filter
def instant(at: datetime) -> str:
    """The same instant for machines, in UTC."""
    return at.astimezone(UTC).isoformat(timespec="seconds")
