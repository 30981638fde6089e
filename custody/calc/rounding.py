"""Rounding of exact fractions of whole numbers. Every rounding in the house is one of these, by name."""


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
