"""The table of prices: reading a file of them, and whether a price is doubtful.

A file is comma-separated text, UTF-8, decimal point, first line ``day,metal,currency,fixing,per,amount,source``:
``2024-01-31,Au,USD,afternoon,ozt,2034.05,sheet of the bank``. ``per`` is g or ozt. It is read whole or not at all.
"""

import re
from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from custody.calc.currencies import currency_code
from custody.calc.file_rows import read_rows
from custody.calc.price import parse_price
from custody.calc.pricing import doubtful
from custody.calc.rates import Unit
from custody.calc.reading import quoted
from custody.calc.refusals import Refused
from custody.calc.rounding import to_places
from custody.terms import METALS

HEADER = ("day", "metal", "currency", "fixing", "per", "amount", "source")
#: What a price may jump from one day to the next where nobody set a limit: 5 %, common practice.
STANDARD_JUMP_PPM = 50_000
LONGEST_FIXING, LONGEST_SOURCE = 40, 120

_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_OUNCE_IN_GRAMS = Decimal("31.1034768")

#: Metal, currency, fixing: what one line of prices is of.
Series = tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Said:
    """One price as somebody says it, by hand or in a line of a file (``line``; 0: by hand)."""

    metal: str
    currency: str
    fixing: str
    day: date
    amount: Decimal
    per: Unit
    source: str
    line: int = 0

    @property
    def series(self) -> Series:
        """What it is a price of."""
        return self.metal, self.currency, self.fixing

    @property
    def per_ounce(self) -> Decimal:
        """The same price per troy ounce, exact, so that prices in either unit are compared."""
        return per_ounce(self.amount, self.per)


@dataclass(frozen=True, slots=True)
class Judged:
    """Whether a price is doubtful; ``before``: the day that it was judged against, None for the first of its series."""

    doubtful: bool
    before: date | None


def per_ounce(amount: Decimal, per: str) -> Decimal:
    """A price of a gram or a troy ounce as one of a troy ounce (31.1034768 g exactly), never rounded."""
    return amount * _OUNCE_IN_GRAMS if per == Unit.GRAM else amount


def change_percent(now: Decimal, before: Decimal) -> Decimal:
    """How far a price lies from the one before it, per cent with two decimals, half to even; both of one unit."""
    return to_places((Fraction(now) - Fraction(before)) * 100 / Fraction(before), 2)


def said_price(
    *, metal: str, currency: str, fixing: str, day: date, amount: Decimal, per: str, source: str, line: int = 0
) -> Said:
    """A price whose words are in order. Raises Refused, naming the field."""
    if metal not in METALS:
        raise Refused(f"{quoted(metal)} is no metal of account. Write one of {', '.join(METALS)}.", field="metal")
    if per not in list(Unit):
        raise Refused(f"A price is per g or per ozt (troy ounce), not per {quoted(per)}.", field="per")
    return Said(
        metal, currency_code(currency), fixing_words(fixing), day, amount, Unit(per), _plain(source, "source"), line
    )


def fixing_words(text: str) -> str:
    """The name of a fixing in plain small letters, single spaces: one fixing, one name. Raises Refused."""
    return _plain(text, "fixing").lower()


def judge(counting: Mapping[date, Decimal], said: Sequence[Said], limit_on: Callable[[date], int]) -> list[Judged]:
    """What PostgreSQL will say of these prices of one series, entered in this order (sql/prices.sql).

    ``counting``: prices per troy ounce that count now, by day. Each is judged against the last one before it that
    counts, or else the first one after it; ``limit_on`` gives the limit of a day, ppm.
    """
    known, days = dict(counting), sorted(counting)
    judged = []
    for one in said:
        place = bisect_left(days, one.day)
        if one.day in known:
            days.pop(place)
        near = days[place - 1] if place else days[0] if days else None
        jumps = near is not None and doubtful(one.per_ounce, known[near], limit_on(one.day))
        known.pop(one.day, None)
        if not jumps:
            known[one.day] = one.per_ounce
            days.insert(place, one.day)
        judged.append(Judged(jumps, near))
    return judged


def read_prices(text: str, today: date) -> list[Said]:
    """The prices of a file, by day. Raises FileRefused with a sentence for each faulty line; none lies after today."""
    found: dict[tuple, Said] = {}

    def read(_header: tuple, line: int, cells: list[str]) -> Said:
        one = _line(cells, line, today)
        earlier = found.setdefault((*one.series, one.day), one)
        if earlier is not one:
            raise Refused(f"line {earlier.line} has a price of that metal, currency, fixing and day already.")
        return one

    return sorted(read_rows(text, [HEADER], "price", read), key=lambda one: (one.day, one.line))


def read_day(text: str, today: date) -> date:
    """A day written like 2024-01-31, today or earlier. Raises Refused."""
    try:
        day = date.fromisoformat(text) if _DAY.fullmatch(text) else None
    except ValueError:
        day = None
    if day is None:
        raise Refused(f"{quoted(text)} is no day. Write it like 2024-01-31.", field="day")
    if day > today:
        raise Refused(f"{day} is in the future: a price is of today or of an earlier day.", field="day")
    return day


def _line(cells: list[str], number: int, today: date) -> Said:
    day, metal, currency, fixing, per, amount, source = cells
    return said_price(
        metal=metal, currency=currency, fixing=fixing, day=read_day(day, today), amount=parse_price(amount), per=per,
        source=source, line=number,
    )  # fmt: skip


def _plain(text: str, what: str) -> str:
    words = " ".join(text.split())
    longest = LONGEST_FIXING if what == "fixing" else LONGEST_SOURCE
    example = "like afternoon or daily" if what == "fixing" else "where the price was read"
    if not words:
        raise Refused(f"The {what} is missing: write it in plain words, {example}.", field=what)
    if len(words) > longest or not words.isprintable():
        raise Refused(f"The {what} {quoted(words)} has at most {longest} printable characters.", field=what)
    return words
