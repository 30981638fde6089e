"""I12 of prices: each judged by the one before it, a day's in order, doubtful ones confirmed by another person."""

from bisect import bisect
from collections import defaultdict
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from custody.calc.price_table import STANDARD_JUMP_PPM, Series, per_ounce
from custody.calc.pricing import doubtful
from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows


@dataclass(frozen=True, slots=True)
class _Price:
    """One row of the table."""

    id: int
    series: Series
    day: date
    amount: Decimal
    per: str
    replaces: int | None
    before: int | None
    limit_ppm: int
    doubtful: bool
    by: int

    @property
    def where(self) -> str:
        return f"price {self.id}, {' '.join(self.series)}, {self.day}"


def check(found: Check) -> None:
    """Notes a price judged otherwise than by what it says, out of its day's order, or confirmed by who entered it."""
    prices = {
        id: _Price(id, (metal, currency, fixing), *more)
        for id, metal, currency, fixing, *more in rows(
            "SELECT id, metal, currency, fixing, day, amount, per, replaces_id, before_id, limit_ppm, doubtful, by_id"
            " FROM custody_price ORDER BY id"
        )
    }
    found.checked += len(prices)
    _follow_one_another(prices, found)
    limits = rows("SELECT metal, valid_from, jump_ppm FROM custody_pricelimit")
    replaced = {price.replaces for price in prices.values()}
    plain: dict[Series, dict[date, int]] = defaultdict(dict)
    for price in prices.values():
        if not price.doubtful and price.id not in replaced:
            plain[price.series][price.day] = price.id
    days = {series: sorted(known) for series, known in plain.items()}
    for price in prices.values():
        _judged(price, prices, limits, found)
        _nearest(price, prices, plain[price.series], days.get(price.series, []), found)
    _confirmed(prices, found)


def _follow_one_another(prices: dict[int, _Price], found: Check) -> None:
    last: dict[tuple, int] = {}
    for price in prices.values():
        key = (price.series, price.day)
        found.expect(price.replaces, last.get(key), price.where, "the price that it replaces")
        last[key] = price.id


def _judged(price: _Price, prices: dict[int, _Price], limits: list, found: Check) -> None:
    known = {jump for metal, since, jump in limits if metal == price.series[0] and since <= price.day}
    if price.limit_ppm not in known | {STANDARD_JUMP_PPM}:
        found.breach(price.where, "judged by a limit that nobody set", limit_ppm=price.limit_ppm)
    before = prices.get(price.before)
    jumps = before is not None and doubtful(
        per_ounce(price.amount, price.per), per_ounce(before.amount, before.per), price.limit_ppm
    )
    found.expect(price.doubtful, jumps, price.where, "whether it is doubtful")
    if before is not None and (before.series != price.series or before.id > price.id or before.day == price.day):
        found.breach(price.where, "judged against a price that is none before it", before=before.where)


def _nearest(price: _Price, prices: dict[int, _Price], plain: dict[date, int], days: list[date], found: Check) -> None:
    """No price that surely counted when this one was entered lies nearer than the one it was judged against."""
    before = prices.get(price.before)
    if before is None:
        passed = [day for day in days if day != price.day]
    elif before.day < price.day:
        passed = [day for day in days[bisect(days, before.day) :] if day < price.day]
    else:
        passed = [day for day in days if day < before.day and day != price.day]
    over = next((day for day in passed if plain[day] < price.id), None)
    if over:
        found.breach(price.where, "a nearer price was passed over", nearer=plain[over])


def _confirmed(prices: dict[int, _Price], found: Check) -> None:
    for of, by in rows("SELECT price_id, by_id FROM custody_priceconfirmation"):
        found.checked += 1
        price = prices.get(of)
        if price is None or not price.doubtful:
            found.breach(f"price {of}", "confirmed, and it was not doubtful")
        elif price.by == by:
            found.breach(price.where, "confirmed by who entered it")
