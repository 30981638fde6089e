"""Rounding of exact fractions of whole numbers. Every rounding in the house is one of these, by name."""

from decimal import Decimal
from fractions import Fraction
from math import isqrt


def half_even(numerator: int, denominator: int) -> int:
    """``numerator / denominator`` to the nearest whole number, halves to the even one.

    Symmetric about zero. The denominator is positive.
    """
    quotient, remainder = divmod(abs(numerator), denominator)
    twice = 2 * remainder
    if twice > denominator or (twice == denominator and quotient % 2):
        quotient += 1
    return quotient if numerator >= 0 else -quotient


def half_up(numerator: int, denominator: int) -> int:
    """``numerator / denominator`` to the nearest whole number, halves away from zero. Denominator positive."""
    quotient = (2 * abs(numerator) + denominator) // (2 * denominator)
    return quotient if numerator >= 0 else -quotient


def down(numerator: int, denominator: int, *, step: int = 1) -> int:
    """``numerator / denominator`` down to a whole multiple of ``step``.

    For amounts that are never negative: a negative numerator would be rounded away from zero.
    """
    return numerator // (denominator * step) * step


def root_half_even(numerator: int, denominator: int) -> int:
    """The square root of ``numerator / denominator`` to the nearest whole number, halves to the even one.

    Exact: no binary fraction is involved. Numerator zero or more, denominator positive.
    """
    root = isqrt(numerator // denominator)
    twice = (2 * root + 1) ** 2 * denominator
    return root + 1 if 4 * numerator > twice or (4 * numerator == twice and root % 2) else root


def to_places(value: Fraction, places: int) -> Decimal:
    """An exact value with so many decimals, halves to the even digit."""
    return Decimal(half_even(value.numerator * 10**places, value.denominator)).scaleb(-places)


def root_to_places(value: Fraction, places: int) -> Decimal:
    """The square root of an exact value of zero or more, with so many decimals, halves to the even digit."""
    return Decimal(root_half_even(value.numerator * 10 ** (2 * places), value.denominator)).scaleb(-places)
