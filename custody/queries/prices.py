"""Prices of metals: the one that counts for a day, or a named refusal; periods, means, and what is doubtful."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from custody.calc.fineness import format_percent
from custody.calc.price_table import STANDARD_JUMP_PPM, Judged, Said, Series, judge, per_ounce
from custody.calc.pricing import Quote, mean_of, missing_days
from custody.calc.rates import Rate, Unit
from custody.calc.refusals import Refused
from custody.errors import DoubtfulPrice, NoPrice, Refusal
from custody.models import Price, PriceLimit, User
from custody.queries import scope


@dataclass(frozen=True, slots=True)
class Planned:
    """What would become of one price of a file: ``standing`` is what it replaces; ``same``: that stands already."""

    said: Said
    standing: Price | None
    judged: Judged

    @property
    def same(self) -> bool:
        """Whether the price that stands is this one, so that nothing is recorded."""
        now = self.standing
        return now is not None and (now.amount, now.per, now.source) == (
            self.said.amount,
            self.said.per,
            self.said.source,
        )


def price_on(*, metal: str, currency: str, fixing: str, day: date) -> Quote:
    """The price that counts for a day. Raises ``NoPrice``, and ``DoubtfulPrice`` for one that nobody confirmed."""
    found = standing_price((metal, currency, fixing), day)
    if found is None:
        raise NoPrice(metal=metal, currency=currency, fixing=fixing, day=str(day))
    return _sure(found)


def prices_between(*, metal: str, currency: str, fixing: str, first: date, last: date) -> list[Quote]:
    """The prices that count from the first day to the last, both included. Raises ``DoubtfulPrice``."""
    found = _standing().filter(metal=metal, currency=currency, fixing=fixing, day__range=(first, last))
    return [_sure(price) for price in found.order_by("day")]


def mean_of_days(*, metal: str, currency: str, fixing: str, days: Sequence[date]) -> Rate:
    """The mean of the prices of these days, four decimals, half to even, once.

    Raises ``NoPrice`` naming the days without one, ``DoubtfulPrice``, and ``Refusal`` where the units differ.
    """
    found = _standing().filter(metal=metal, currency=currency, fixing=fixing, day__in=days)
    quotes = [_sure(price) for price in found.order_by("day")]
    missing = missing_days(quotes, days)
    if missing:
        raise NoPrice(metal=metal, currency=currency, fixing=fixing, day=", ".join(map(str, missing)))
    try:
        return mean_of(quotes)
    except Refused as refused:
        raise Refusal(refused.sentence).at("price") from refused


def offered(metals: Iterable[str], currency: str, day: date) -> dict[str, Quote]:
    """Prices of a day that an entry may be filled in with: of each metal that has one price that day, a sure one."""
    found: dict[str, list[Price]] = {}
    for price in _standing().filter(metal__in=list(metals), currency=currency, day=day):
        found.setdefault(price.metal, []).append(price)
    return {metal: quote_of(one) for metal, (one, *others) in found.items() if not others and is_sure(one)}


def quote_of(price: Price) -> Quote:
    """A row of the table as the reckoning takes it."""
    return Quote(price.metal, price.day, price.fixing, price.amount, Unit(price.per), price.currency, price.source)


def is_sure(price: Price) -> bool:
    """Whether metal may be settled at it."""
    return not price.doubtful or hasattr(price, "confirmation")


def standing_price(series: Series, day: date) -> Price | None:
    """The row that stands for a day, doubtful or not."""
    metal, currency, fixing = series
    return _standing().filter(metal=metal, currency=currency, fixing=fixing, day=day).first()


def limit_on(metal: str, day: date) -> int:
    """How far the price of a metal may jump on a day, ppm of the one before it."""
    found = PriceLimit.objects.filter(metal=metal, valid_from__lte=day).order_by("-valid_from", "-id").first()
    return found.jump_ppm if found else STANDARD_JUMP_PPM


def limits() -> QuerySet[PriceLimit]:
    """Limits that were set, the latest first."""
    return PriceLimit.objects.select_related("set_by").order_by("-id")


def planned(said: Sequence[Said]) -> list[Planned]:
    """What would become of these prices if they were recorded now, in their order."""
    by_series: dict[Series, list[Said]] = {}
    for one in said:
        by_series.setdefault(one.series, []).append(one)
    plans = {}
    for series, of_series in by_series.items():
        plans |= _planned_series(series, of_series)
    return [plans[one] for one in said]


def _planned_series(series: Series, said: list[Said]) -> dict[Said, Planned]:
    metal, currency, fixing = series
    standing = {price.day: price for price in _standing().filter(metal=metal, currency=currency, fixing=fixing)}
    counting = {day: per_ounce(price.amount, price.per) for day, price in standing.items() if is_sure(price)}
    plans = {one: Planned(one, standing.get(one.day), Judged(False, None)) for one in said}
    entered = [one for one in said if not plans[one].same]
    limits_of = list(PriceLimit.objects.filter(metal=metal).order_by("-valid_from", "-id"))
    judged = judge(
        counting,
        entered,
        lambda day: next((each.jump_ppm for each in limits_of if each.valid_from <= day), STANDARD_JUMP_PPM),
    )
    return plans | {one: Planned(one, standing.get(one.day), word) for one, word in zip(entered, judged, strict=True)}


# What screens show


def table(viewer: User, **narrowed) -> QuerySet[Price]:
    """The prices that stand, the latest day first; ``narrowed`` by columns (metal, currency, fixing, day__range)."""
    found = scope.prices(viewer).filter(replaced_by__isnull=True, **narrowed)
    return found.select_related("confirmation__by", "by", "before", "imported", "replaced_by").order_by(
        "-day", "metal", "currency", "fixing"
    )


def doubtful_prices(viewer: User) -> QuerySet[Price]:
    """Doubtful prices that wait for a second person, the earliest day first."""
    return table(viewer).filter(doubtful=True, confirmation__isnull=True).order_by("day", "id")


def to_confirm(viewer: User) -> QuerySet[Price]:
    """Doubtful prices that this person may confirm: not those that they entered themselves (I12)."""
    return doubtful_prices(viewer).exclude(by=viewer)


def history_of(price: Price, viewer: User) -> QuerySet[Price]:
    """Every price that was entered for its day, the last one in front."""
    same = scope.prices(viewer).filter(metal=price.metal, currency=price.currency, fixing=price.fixing, day=price.day)
    return same.select_related("confirmation__by", "by", "before", "imported", "replaced_by").order_by("-id")


def named(viewer: User) -> dict[str, list[str]]:
    """The currencies and fixings that stand in the table, for a list's question."""
    rows = scope.prices(viewer).order_by()
    return {
        column: sorted(rows.values_list(column, flat=True).distinct()) for column in ("metal", "currency", "fixing")
    }


def _standing() -> QuerySet[Price]:
    return Price.objects.filter(replaced_by__isnull=True).select_related("confirmation")


def _sure(price: Price) -> Quote:
    if not is_sure(price):
        raise DoubtfulPrice(
            metal=price.metal,
            currency=price.currency,
            fixing=price.fixing,
            day=str(price.day),
            limit=f"{format_percent(price.limit_ppm)} %",
        )
    return quote_of(price)
