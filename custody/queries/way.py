"""The way of a metal into one lot: which lots it passed through, and how many of its milligrams each carried.

For pictures: an operation passes the metal on pro rata, in whole milligrams, so that every station sums to the lot
traced. The figures of record are the origins (queries/trace.py); stations that carry none of it are left out.
"""

import heapq
from dataclasses import dataclass

from custody.calc.apportion import largest_remainder
from custody.models import Lot, Movement
from custody.terms import Cause, Form, Kind, Side

#: A picture of more lots than this tells nothing; the rest of the way is left to the list of ancestors.
MOST_LOTS = 160


@dataclass(frozen=True, slots=True)
class Station:
    """A lot on the way, or a gain over book (``difference``); ``column`` counts from the left."""

    key: str
    lines: tuple[str, ...]
    kind: str
    column: int


@dataclass(frozen=True, slots=True)
class Leg:
    """So many milligrams from one station to the next."""

    source: str
    target: str
    mg: int
    metal: str


def way_into(lot: Lot, metal: str) -> tuple[list[Station], list[Leg]]:
    """Stations and legs of ``metal`` into a lot; empty where it holds none.

    A lot that was emptied is drawn as it last left.
    """
    column = f"{metal.lower()}_mg"
    held = getattr(lot, column) or getattr(Movement.objects.get(pk=lot.last_movement), column)
    if not held or not lot.valued:
        return [], []
    carried = {lot.pk: abs(held)}
    lots, depth, legs = {lot.pk: lot}, {lot.pk: 0}, []
    waiting = [-lot.pk]
    expanded = 0
    while waiting and expanded < MOST_LOTS:
        child = lots[-heapq.heappop(waiting)]
        expanded += 1
        for source, name, mg in _came_from(child, column, carried[child.pk]):
            key = source.number if source else name
            legs.append(Leg(key, child.number, mg, metal))
            if source is None:
                continue
            if source.pk not in lots:
                lots[source.pk] = source
                heapq.heappush(waiting, -source.pk)
            carried[source.pk] = carried.get(source.pk, 0) + mg
            depth[source.pk] = max(depth.get(source.pk, 0), depth[child.pk] + 1)
    return _stations(lots, depth, legs), legs


def _came_from(child: Lot, column: str, carried: int) -> list[tuple[Lot | None, str, int]]:
    """What the operation that made a lot took in, and the share of it in what is carried on."""
    if child.created_by.kind == Kind.RECEIVE:
        return []
    sources = []
    for line in child.created_by.movements.select_related("lot__created_by", "lot__bar").order_by("line"):
        mg = getattr(line, column)
        if line.side == Side.IN and line.lot_id and mg > 0:
            sources.append((line.lot, "", mg))
        elif line.side == Side.LOSS and mg < 0:
            name = f"{'difference' if line.what == Cause.DIFFERENCE else line.what} of {child.created_by.number}"
            sources.append((None, name, -mg))
    if not sources:
        return []
    shares = largest_remainder(carried, [mg for _, _, mg in sources])
    return [(lot, name, share) for (lot, name, _), share in zip(sources, shares, strict=True) if share]


def _stations(lots: dict[int, Lot], depth: dict[int, int], legs: list[Leg]) -> list[Station]:
    deepest = max(depth.values()) + 1
    by_number = {lot.number: lot for lot in lots.values()}
    stations = [
        Station(lot.number, _lines(lot), _kind(lot), deepest - depth[lot.pk])
        for lot in lots.values()
        if lot.pk in depth
    ]
    seen = set(by_number)
    for leg in legs:
        if leg.source not in seen:
            seen.add(leg.source)
            target = by_number[leg.target]
            stations.append(Station(leg.source, (leg.source,), "difference", deepest - depth[target.pk] - 1))
    return stations


def _lines(lot: Lot) -> tuple[str, ...]:
    bar = getattr(lot, "bar", None)
    if bar:
        return (str(bar), lot.number)
    receipt = lot.created_by
    if receipt.kind == Kind.RECEIVE:
        return (lot.number, f"{receipt.party.code} {Form(lot.form).label}")
    return (lot.number, Form(lot.form).label)


def _kind(lot: Lot) -> str:
    if lot.form == Form.BAR:
        return "bar"
    return "parcel" if lot.created_by.kind == Kind.RECEIVE else "lot"
