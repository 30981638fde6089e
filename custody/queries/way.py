"""The way of a metal into one lot: which lots it passed through, how many of its milligrams each carried, what was lost
beside it, and who passed it on.

For pictures: an operation passes the metal on pro rata, in whole milligrams, so that every station sums to the lot
traced. The figures of record are the origins (queries/trace.py); stations that carry none of it are left out.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.db import connection
from django.db.models import Q

from custody.calc.apportion import largest_remainder
from custody.models import Handover, Lot, Movement
from custody.terms import METALS, Cause, Form, Kind, Side

#: A picture of more lots than this tells nothing; the rest of the way is left to the list of ancestors.
MOST_LOTS = 160

# Gains booked on a lot after it was made (a late assay, a count), the latest first, and what those operations took.
_GAINS = """
SELECT made.lot_id, o.id, o.number, gain.what, -gain.{column},
       (SELECT coalesce(sum(taken.{column}), 0)::bigint FROM custody_movement taken
         WHERE taken.operation_id = o.id AND taken.side = 'in')
  FROM custody_movement made
  JOIN custody_operation o ON o.id = made.operation_id AND o.kind IN ('value', 'difference')
  JOIN custody_movement gain ON gain.operation_id = o.id AND gain.side = 'loss' AND gain.{column} < 0
 WHERE made.lot_id = ANY (%s) AND made.side = 'out'
   AND NOT EXISTS (SELECT FROM custody_operation r WHERE r.reverses_id = o.id)
 ORDER BY o.id DESC, gain.line
"""

# Losses of metal in the operations that these lots went through, up to the one that made the lot traced, the latest
# first; and beside each row how many there are and their sums.
_LOSSES = """
SELECT o.number, o.kind, o.at, m.what, m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg, count(*) OVER (),
       (sum(m.au_mg) OVER ())::bigint, (sum(m.ag_mg) OVER ())::bigint, (sum(m.pt_mg) OVER ())::bigint,
       (sum(m.pd_mg) OVER ())::bigint, (sum(m.cu_mg) OVER ())::bigint
  FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id
 WHERE m.side = 'loss' AND (m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg) <> (0, 0, 0, 0, 0)
   AND o.kind <> 'reverse' AND NOT EXISTS (SELECT FROM custody_operation r WHERE r.reverses_id = o.id)
   AND o.id IN (SELECT p.operation_id FROM custody_movement p JOIN custody_lot l ON l.id = p.lot_id
                 WHERE p.side = 'out' AND l.number = ANY (%(lots)s) AND p.operation_id <= %(made_by)s
                UNION SELECT operation_id FROM custody_movement WHERE side = 'out' AND lot_id = %(lot)s)
 ORDER BY o.id DESC, m.line LIMIT %(most)s
"""

# Handovers of these lots, up to when the lot traced was made, and all of its own; the latest first.
_HANDOVERS = """
SELECT id, count(*) OVER ()
  FROM (SELECT h.id FROM custody_handover h JOIN custody_lot l ON l.id = h.lot_id
         WHERE l.number = ANY (%(lots)s) AND h.at <= %(made_at)s
        UNION SELECT id FROM custody_handover WHERE lot_id = %(lot)s) passed
 ORDER BY id DESC LIMIT %(most)s
"""


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


@dataclass(frozen=True, slots=True)
class Way:
    """Stations and legs. ``whole`` is false where the way goes on behind stations that are not followed further."""

    stations: tuple[Station, ...] = ()
    legs: tuple[Leg, ...] = ()
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Loss:
    """One declared loss on the way: the whole operation's, milligrams of Au, Ag, Pt, Pd, Cu; a gain is negative."""

    operation: str
    kind: str
    at: datetime
    cause: str
    metals_mg: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Losses:
    """The latest losses in the order of the book, and number and sum of all."""

    latest: tuple[Loss, ...] = ()
    count: int = 0
    sums_mg: tuple[int, ...] = (0,) * len(METALS)


@dataclass(frozen=True, slots=True)
class _Source:
    """What an operation took in: a lot, or a gain, which has words and no lot."""

    lot: Lot | None
    key: str
    lines: tuple[str, ...]
    mg: int


@dataclass(slots=True)
class _Known:
    """What has been read of the way: by lot id the lots, their making and the gains booked on them since."""

    lots: dict[int, Lot]
    made_from: dict[int, list[_Source]] = field(default_factory=dict)
    gains: dict[int, list[tuple[int, _Source, int]]] = field(default_factory=lambda: defaultdict(list))


def way_into(lot: Lot, metal: str) -> Way:
    """The way of ``metal`` into a lot; empty where it holds none. A lot that was emptied is drawn as it last left."""
    column = f"{metal.lower()}_mg"
    held = getattr(lot, column) if lot.gross_mg else getattr(Movement.objects.get(pk=lot.last_movement), column)
    if not held or not lot.valued:
        return Way()
    known = _read(lot, column)
    carried, depth, used = defaultdict(int, {lot.pk: abs(held)}), {lot.pk: 0}, {}
    legs = []
    # A lot is made after the lots that it is made of: the latest first, each is followed when all it carries is known.
    for child in sorted(known.made_from, reverse=True):
        for source, mg in _came_from(child, carried[child], known, used.get(child)):
            legs.append((source, child, mg))
            if source.lot:
                carried[source.lot.pk] += mg
                depth[source.lot.pk] = max(depth.get(source.lot.pk, 0), depth[child] + 1)
                used[source.lot.pk] = max(used.get(source.lot.pk, 0), known.lots[child].created_by_id)
    return _drawn(legs, depth, known, metal)


def _read(lot: Lot, column: str) -> _Known:
    """Reads the way back from a lot, a few queries for each generation, until it ends or has ``MOST_LOTS`` lots."""
    known = _Known(lots={lot.pk: lot})
    generation = [lot]
    while generation and len(known.made_from) < MOST_LOTS:
        generation = sorted(generation, key=lambda one: -one.pk)[: MOST_LOTS - len(known.made_from)]
        takers = defaultdict(list)
        for one in generation:
            known.made_from[one.pk] = takers[one.created_by_id]
        gained = Q(side=Side.LOSS, **{f"{column}__lt": 0})
        lines = Movement.objects.filter(Q(side=Side.IN, lot__isnull=False) | gained, operation_id__in=takers)
        lines = lines.select_related("operation", "lot__created_by__party", "lot__bar")
        for line in lines.order_by("operation_id", "line"):
            # An unvalued lot carries its origins by gross.
            mg = abs(getattr(line, column if line.valued else "gross_mg"))
            takers[line.operation_id].append(_source(line.lot, line.operation_id, line.operation.number, line.what, mg))
        _read_gains(known, generation, column)
        found = {one.lot.pk: one.lot for sources in takers.values() for one in sources if one.lot and one.mg}
        generation = [one for pk, one in found.items() if pk not in known.lots]
        known.lots |= {one.pk: one for one in generation}
    return known


def _read_gains(known: _Known, lots: Sequence[Lot], column: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(_GAINS.format(column=column), [[lot.pk for lot in lots]])
        for lot_id, operation, number, what, mg, before in cursor.fetchall():
            known.gains[lot_id].append((operation, _source(None, operation, number, what, mg), before))


def _source(lot: Lot | None, operation: int, number: str, what: str, mg: int) -> _Source:
    """Keys have words of their own, so that no lot's number can be taken for another station."""
    if lot:
        return _Source(lot, f"lot {lot.pk}", (), mg)
    gained = "gain over book" if what == Cause.DIFFERENCE else f"back from {what}"
    return _Source(None, f"gain {operation} {what}", (gained, number), mg)


def _came_from(child: int, carried: int, known: _Known, used: int | None) -> list[tuple[_Source, int]]:
    """What a lot carries, shared over what it was made from and the gains booked on it before it was used."""
    shares = []
    for operation, gain, before in known.gains[child]:
        if used is None or operation < used:
            mg, carried = largest_remainder(carried, [gain.mg, before])
            shares.append((gain, mg))
    sources = [source for source in known.made_from[child] if source.mg]
    if sources:
        shares += zip(sources, largest_remainder(carried, [source.mg for source in sources]), strict=True)
    return [(source, mg) for source, mg in shares if mg]


def _drawn(legs: list[tuple[_Source, int, int]], depth: dict[int, int], known: _Known, metal: str) -> Way:
    deepest = max(depth.values()) + 1
    stations = {
        f"lot {pk}": Station(f"lot {pk}", _lines(known.lots[pk]), _kind(known.lots[pk]), deepest - depth[pk])
        for pk in depth
    }
    for source, child, _ in legs:
        if source.lot is None:
            column = deepest - depth[child] - 1
            stations.setdefault(source.key, Station(source.key, source.lines, "difference", column))
    followed = all(pk in known.made_from or known.lots[pk].created_by.kind == Kind.RECEIVE for pk in depth)
    drawn = tuple(Leg(source.key, f"lot {child}", mg, metal) for source, child, mg in legs)
    return Way(tuple(stations.values()), drawn, followed)


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


def losses_on_way(lot: Lot, ancestors: Sequence[str], *, most: int) -> Losses:
    """The latest ``most`` losses of metal in the operations that a lot and these ancestors of it went through."""
    asked = {"lots": list(ancestors), "lot": lot.pk, "made_by": lot.created_by_id, "most": most}
    with connection.cursor() as cursor:
        cursor.execute(_LOSSES, asked)
        rows = cursor.fetchall()
    if not rows:
        return Losses()
    latest = tuple(Loss(*row[:4], metals_mg=row[4:9]) for row in reversed(rows))
    return Losses(latest, count=rows[0][9], sums_mg=rows[0][10:])


def handovers_on_way(lot: Lot, ancestors: Sequence[str], *, most: int) -> tuple[list[Handover], int]:
    """The latest ``most`` handovers of a lot and these ancestors of it, in their order, and the number of all."""
    asked = {"lots": list(ancestors), "lot": lot.pk, "made_at": lot.created_by.at, "most": most}
    with connection.cursor() as cursor:
        cursor.execute(_HANDOVERS, asked)
        rows = cursor.fetchall()
    found = Handover.objects.filter(pk__in=[pk for pk, _ in rows])
    named = found.select_related("lot", "from_person", "to_person", "from_place", "to_place")
    return list(named.order_by("pk")), rows[0][1] if rows else 0
