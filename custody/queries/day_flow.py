"""From where to where metal went on one local day, place by place, so that every place's figures add up.

What stands at each place now, less what was recorded since, is what stood there at the day's end; less what was
recorded on the day, what stood there at its start. A handover moves what its lot held then: what it holds now, less
what was recorded of it since.
"""

from collections import defaultdict
from dataclasses import dataclass, field
from datetime import date

from django.db import connection

from custody.models import Place, User
from custody.queries import scope
from custody.terms import COLUMNS, Addition, Cause, Form

_MASSES = [f"{column.lower()}_mg" for column in COLUMNS]
_SUMS = ", ".join(f"sum({mass})::bigint" for mass in _MASSES)
_THEN = ", ".join(f"l.{mass} + coalesce(s.{mass}, 0) AS {mass}" for mass in _MASSES)
_SINCE = ", ".join(f"sum(CASE m.side WHEN 'in' THEN m.{mass} ELSE -m.{mass} END)::bigint AS {mass}" for mass in _MASSES)

# One statement, so that an operation recorded meanwhile is in all of it or in none. An operation of the same instant as
# a handover came before it where its line stands at a place that the lot had left by then.
_DAY = f"""
WITH lines AS (
    SELECT o.day > %(day)s AS later, o.kind || coalesce(': ' || u.step, '') AS done, m.side, m.place_id AS place,
           coalesce(l.form = %(bar)s, false) AS bar, CASE WHEN m.lot_id IS NULL THEN m.what ELSE '' END AS what,
           m.lot_id IS NULL AS edge, {", ".join(f"m.{mass}" for mass in _MASSES)}
      FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id
      LEFT JOIN custody_lot l ON l.id = m.lot_id LEFT JOIN custody_run u ON u.id = o.run_id
     WHERE o.day >= %(day)s
), handed AS (
    SELECT custody_local_day(h.at) > %(day)s AS later, h.from_place_id AS place, h.to_place_id AS to_place,
           l.form = %(bar)s AS bar, {_THEN}
      FROM custody_handover h JOIN custody_lot l ON l.id = h.lot_id,
           LATERAL (SELECT {_SINCE} FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id
                     WHERE m.lot_id = h.lot_id
                       AND (o.at > h.at OR o.at = h.at AND NOT EXISTS (
                            SELECT FROM custody_handover e WHERE e.lot_id = h.lot_id AND e.at = h.at AND e.id <= h.id
                               AND e.from_place_id = m.place_id))) s
     WHERE h.at >= %(day)s::date - interval '2 days' AND custody_local_day(h.at) >= %(day)s
       AND h.from_place_id <> h.to_place_id
)
SELECT 'now', false, '', '', place_id, NULL::bigint, false, '', {_SUMS}
  FROM custody_lot WHERE gross_mg > 0 GROUP BY place_id
UNION ALL
SELECT CASE WHEN edge THEN 'edge' ELSE 'lot' END, later, done, side, place, NULL::bigint, bar, what, {_SUMS}
  FROM lines GROUP BY edge, later, done, side, place, bar, what
UNION ALL
SELECT 'handed', later, 'handed over', '', place, to_place, bar, '', {_SUMS}
  FROM handed GROUP BY later, place, to_place, bar
"""

Row = tuple[int, ...]
_NOTHING: Row = (0,) * len(COLUMNS)


@dataclass(slots=True)
class PlaceDay:
    """One place on one day, milligrams by column: opening + came - went = closing."""

    place: Place
    closing: list[int] = field(default_factory=lambda: list(_NOTHING))
    came: list[int] = field(default_factory=lambda: list(_NOTHING))
    went: list[int] = field(default_factory=lambda: list(_NOTHING))

    @property
    def opening(self) -> list[int]:
        """What stood there when the day began."""
        return [end - came + went for end, came, went in zip(self.closing, self.came, self.went, strict=True)]


@dataclass(frozen=True, slots=True)
class End:
    """Where metal came from or went: ``kind`` as in a flow picture, the place's code or the cause in ``word``."""

    kind: str
    word: str


@dataclass(slots=True)
class DayFlow:
    """One day: its places, and what went from where by what was done to where (milligrams, by column)."""

    day: date
    places: list[PlaceDay]
    sources: dict[tuple[End, str], list[int]]
    targets: dict[tuple[str, End], list[int]]

    def crossed(self, column: int) -> list[tuple[End, int, int]]:
        """What crossed the book's edge: where from or to, how much came, how much went."""
        sums: dict[End, list[int]] = defaultdict(lambda: [0, 0])
        for (end, _), mgs in self.sources.items():
            if end.kind not in ("lot", "bar"):
                sums[end][0] += mgs[column]
        for (_, end), mgs in self.targets.items():
            if end.kind not in ("lot", "bar"):
                sums[end][1] += mgs[column]
        return [(end, came, went) for end, (came, went) in sums.items() if came or went]


def day_flow(day: date, viewer: User) -> DayFlow:
    """The flow of one local day; nothing for who may not read the whole book."""
    if not scope.operations(viewer).exists():
        return DayFlow(day, [], {}, {})
    with connection.cursor() as cursor:
        cursor.execute(_DAY, {"day": day, "bar": str(Form.BAR)})
        rows = [(row[:8], [mg or 0 for mg in row[8:]]) for row in cursor.fetchall()]
    places = {place.pk: PlaceDay(place) for place in Place.objects.order_by("code")}
    found = DayFlow(day, list(places.values()), {}, {})
    for head, mgs in rows:
        _book(found, places, head, mgs)
    return found


def _book(found: DayFlow, places: dict[int, PlaceDay], head: tuple, mgs: list[int]) -> None:
    part, later, done, side, place, to_place, bar, what = head
    if part == "now":
        _add(places[place].closing, mgs)
    elif part == "handed":
        leaves, comes = (places[place], "in"), (places[to_place], "out")
        for one, way in (leaves, comes):
            _book_place(found, one, way, mgs, later=later, done=done, bar=bar)
    elif part == "lot":
        _book_place(found, places[place], side, mgs, later=later, done=done, bar=bar)
    elif not later:
        _book_edge(found, done, side, what, mgs)


def _book_place(found: DayFlow, one: PlaceDay, side: str, mgs: list[int], *, later: bool, done: str, bar: bool) -> None:
    """A line of lots at a place: ``in`` takes from it. What happened after the day only takes its closing back."""
    if later:
        _add(one.closing, mgs if side == "in" else [-mg for mg in mgs])
        return
    end = End("bar" if bar else "lot", one.place.code)
    leaves = [mg if side == "in" else -mg for mg in mgs]
    _flow(found, end, done, leaves)
    for column, mg in enumerate(leaves):
        (one.went if mg > 0 else one.came)[column] += abs(mg)


def _book_edge(found: DayFlow, done: str, side: str, what: str, mgs: list[int]) -> None:
    """A line that crosses the book's edge: received, added, dispatched, lost or found by difference."""
    if side == "in" or what == Addition.VALUATION:
        end, comes = End("parcel", "received"), mgs
    elif side == "add":
        end, comes = End("added", what), mgs
    elif side == "out":
        end, comes = End("dispatched", "dispatched"), [-mg for mg in mgs]
    else:
        end, comes = End("difference" if what == Cause.DIFFERENCE else "loss", what), [-mg for mg in mgs]
    _flow(found, end, done, comes)


def _flow(found: DayFlow, end: End, done: str, leaves: list[int]) -> None:
    """Milligrams from an end into what was done; less than nothing go the other way."""
    source = found.sources.setdefault((end, done), list(_NOTHING))
    target = found.targets.setdefault((done, end), list(_NOTHING))
    for column, mg in enumerate(leaves):
        (source if mg > 0 else target)[column] += abs(mg)


def _add(sums: list[int], mgs: list[int]) -> None:
    for column, mg in enumerate(mgs):
        sums[column] += mg
