"""Reading typed numbers: understood or refused, never guessed.

Every check works on a short text, so that a million digits cost nothing.
"""

import re

from custody.calc.refusals import Refused, Unreadable

LONGEST = 40
_SHOWN = 24
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")
_EXPONENT = re.compile(r"[+-]?[0-9.]+[eE][+-]?[0-9]+")
_NOT_A_NUMBER = re.compile(r"[+-]?(?:s?nan[0-9]*|inf|infinity)", re.IGNORECASE)


def quoted(text: str) -> str:
    """The text as a sentence may repeat it: short, printable, in quotation marks."""
    shown = "".join(c if c.isprintable() else "?" for c in text[:_SHOWN])
    return f"“{shown}{'…' if len(text) > _SHOWN else ''}”"


def clean(text: object, *, what: str, example: str) -> str:
    """The text without surrounding spaces, if it can be a plain decimal number (a unit may follow it).

    Raises Unreadable for what is not text, is empty or overlong, or holds a comma, a sign, an exponent, a
    character outside ASCII, or the words for infinity and not-a-number.
    """
    right = f"Write it like {example}."
    if not isinstance(text, str):
        raise Unreadable(f"The {what} must be text. {right}", field=what)
    if len(text) > LONGEST:
        raise Unreadable(f"The {what} is {len(text)} characters long; at most {LONGEST} are read. {right}", field=what)
    text = text.strip()
    if not text:
        raise Unreadable(f"The {what} is missing. {right}", field=what)
    for found, wrong in (
        (not text.isascii(), "has characters that are not plain digits"),
        ("," in text, "has a comma; the decimal sign is a point, and thousands are not separated"),
        (_NOT_A_NUMBER.fullmatch(text), "is not a number"),
        (_EXPONENT.fullmatch(text), "is written with an exponent"),
        (text[0] == "-", "is negative"),
        (text[0] == "+", "has a sign"),
    ):
        if found:
            raise Unreadable(f"The {what} {quoted(text)} {wrong}. {right}", field=what)
    return text


def scaled(number: str, *, decimals: int, most: int, what: str, example: str) -> int:
    """A plain decimal number as a whole count of ``10 ** -decimals``.

    ``most`` is how many decimals may be written. Raises Unreadable for more of them, and for anything but
    ASCII digits with at most one point that has digits on both sides.
    """
    if not _NUMBER.fullmatch(number):
        raise Unreadable(f"The {what} {quoted(number)} is not a plain number. Write it like {example}.", field=what)
    whole, _, fraction = number.partition(".")
    if len(fraction) > most:
        wrong = f"has more than {most} decimals" if most else "has decimals"
        raise Unreadable(f"The {what} {quoted(number)} {wrong}. Write it like {example}.", field=what)
    return int(whole + fraction.ljust(decimals, "0"))


def refuse_zero(value: int, *, what: str, example: str) -> None:
    """Raises Refused when the value is zero."""
    if value == 0:
        raise Refused(f"The {what} is zero; it must be more, like {example}.", field=what)
