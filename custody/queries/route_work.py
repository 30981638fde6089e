"""What was recorded as work on route orders: station by station, what came of it, and which order a lot is of."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet

from custody.models import Lot, RouteOrder, RouteOrderLot, RouteOrderWork, User
from custody.queries import planner


def standing_work() -> QuerySet[RouteOrderWork]:
    """Work on orders that was not reversed."""
    return RouteOrderWork.objects.filter(operation__reversed_by__isnull=True)


@dataclass(frozen=True, slots=True)
class Station:
    """One station of an order: what was recorded there, in order, and whether it is behind, at hand or to come."""

    name: str
    works: tuple[RouteOrderWork, ...]
    word: str
    tone: str


@dataclass(frozen=True, slots=True)
class Progress:
    """How far an order is: the station that was worked last and the one that follows, empty where there is none."""

    stations: tuple[Station, ...]
    at: str
    next: str
    products: tuple[Lot, ...]

    @property
    def words(self) -> str:
        """Where it is, in a few words for a list."""
        if not self.at:
            return f"to begin: {self.next}"
        return f"{self.at}, then {self.next}" if self.next else f"{self.at}, the last station"


def progress_of(order: RouteOrder) -> Progress:
    """Where an order of ``planner.orders`` is, by the work that was recorded on it."""
    works = list(order.standing_works)
    reached = max((order.steps.index(work.station) for work in works), default=-1)
    stations = tuple(_station(order, number, works, reached) for number in range(len(order.steps)))
    products = tuple(lot for work in works for lot in work.operation.created_lots.all() if lot.gross_mg)
    rest = order.steps[reached + 1 :]
    return Progress(stations, order.steps[reached] if reached >= 0 else "", rest[0] if rest else "", products)


def _station(order: RouteOrder, number: int, works: list[RouteOrderWork], reached: int) -> Station:
    name = order.steps[number]
    mine = tuple(work for work in works if work.station == name)
    if number == reached:
        return Station(name, mine, "worked last", "good")
    if number == reached + 1:
        return Station(name, mine, "next", "wait")
    if number > reached:
        return Station(name, mine, "to come", "plain")
    return Station(name, mine, "done" if mine else "nothing recorded", "good" if mine else "plain")


def open_at(stations: Collection[str], viewer: User) -> list[RouteOrder]:
    """Open orders that have one of these stations, the latest first; never more than a screen can offer."""
    if not stations:
        return []
    return list(planner.open_orders(viewer).filter(steps__overlap=list(stations))[:30])


def order_of(lots: Iterable[Lot], viewer: User) -> RouteOrder | None:
    """The latest open order that one of these lots was ordered in or made on; none where they are of no order."""
    ids = [lot.pk for lot in lots]
    if not ids:
        return None
    ordered = RouteOrderLot.objects.filter(order=OuterRef("pk"), lot__in=ids)
    made = standing_work().filter(order=OuterRef("pk"), operation__created_lots__in=ids)
    return planner.open_orders(viewer).filter(Q(Exists(ordered)) | Q(Exists(made))).first()
