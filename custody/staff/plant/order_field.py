"""Which route order a step is work on, and at which of its stations: one choice, made beforehand where it is known."""

from collections.abc import Collection, Iterable

from django import forms

from custody.actions.work import ForOrder
from custody.models import Lot, RouteOrder, User
from custody.queries import route_work

_BETWEEN = "|"


class OrderField(forms.ChoiceField):
    """Open orders that have one of the stations of a step; ``offer`` fills it, ``for_order`` reads what was chosen."""

    def __init__(self, **kwargs):
        super().__init__(**{"label": "Work on an order", "required": False} | kwargs)
        self.orders: dict[str, RouteOrder] = {}

    def offer(self, stations: Collection[str], viewer: User, *, number: str = "", lots: Iterable[Lot] = ()) -> None:
        """Offers every open order at these stations; chosen is the one named, else the one that the lots are of."""
        self.orders = {order.number: order for order in route_work.open_at(stations, viewer)}
        mine = self.orders.get(number) or (None if number else route_work.order_of(lots, viewer))
        options = [
            (f"{order.number}{_BETWEEN}{station}", f"{order.number}, {station}")
            for order in self.orders.values()
            for station in order.steps
            if station in stations
        ]
        self.choices = [("", "of no order"), *options]
        self.initial = next((value for value, _ in options if mine and value.startswith(mine.number + _BETWEEN)), "")

    def for_order(self, chosen: str) -> ForOrder | None:
        """What the action is told of a choice; None for none."""
        if not chosen:
            return None
        number, station = chosen.split(_BETWEEN)
        return ForOrder(self.orders[number], station)
