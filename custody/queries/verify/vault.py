"""The vault (I4): where two people open a place, metal moved there while they had it open; a count told of everything.

Times are those of the events; since when two people open a place is read from its changes.
"""

from collections import defaultdict
from datetime import datetime
from typing import NamedTuple

from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows

_ACCESSES = """
SELECT a.place_id, a.number, a.at, c.at, a.by_id, a.second_id, c.by_id, coalesce(c.note, '')
  FROM custody_vaultaccess a LEFT JOIN custody_vaultclosing c ON c.access_id = a.id ORDER BY a.place_id, a.at, a.id
"""
_MOVED = """
SELECT o.number, o.at, o.by_id, m.place_id FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id
 WHERE m.place_id = ANY (%s) AND m.lot_id IS NOT NULL AND o.source <> 'history'
   AND o.kind NOT IN ('value', 'difference', 'reverse')
UNION SELECT 'handover ' || h.id, h.at, h.from_person_id, h.from_place_id FROM custody_handover h
 WHERE h.from_place_id = ANY (%s)
UNION SELECT 'handover ' || h.id, h.at, h.to_person_id, h.to_place_id FROM custody_handover h
 WHERE h.to_place_id = ANY (%s)
UNION SELECT 'count ' || s.number, s.at, CASE WHEN EXISTS (SELECT FROM custody_vaultaccess a
      WHERE a.place_id = s.place_id AND s.second_id IN (a.by_id, a.second_id) AND a.at <= s.at
        AND NOT EXISTS (SELECT FROM custody_vaultclosing c WHERE c.access_id = a.id AND c.at < s.at))
    THEN s.second_id ELSE s.by_id END, s.place_id
  FROM custody_stockcount s WHERE s.place_id = ANY (%s)
"""
#: Lots that ever stood at a counted place: where each was made, and what became of it.
_STOOD = """
SELECT l.id, l.number, m.place_id, m.custodian_id FROM custody_lot l JOIN custody_movement m
    ON m.lot_id = l.id AND m.operation_id = l.created_by_id AND m.side = 'out'
 WHERE m.place_id = ANY (%s)
    OR EXISTS (SELECT FROM custody_handover h WHERE h.lot_id = l.id AND h.to_place_id = ANY (%s))
"""
_PASSED = "SELECT lot_id, at, to_place_id, to_person_id FROM custody_handover WHERE lot_id = ANY (%s) ORDER BY id"
_MASSES = """
SELECT m.lot_id, m.id, o.at, CASE m.side WHEN 'out' THEN m.gross_mg ELSE -m.gross_mg END
  FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id WHERE m.lot_id = ANY (%s) ORDER BY m.id
"""


class Access(NamedTuple):
    """One time that a place was open; ``closed`` is empty while it is."""

    place: int
    number: str
    opened: datetime
    closed: datetime | None
    by: int
    second: int
    closed_by: int | None
    note: str

    def admits(self, person: int, at: datetime) -> bool:
        """Whether this person was one of the two who had it open then."""
        return person in (self.by, self.second) and self.opened <= at and (self.closed is None or at <= self.closed)


def check(found: Check) -> None:
    """Notes metal that was moved in a closed vault, accesses that are none, and counts that are not whole."""
    accesses: dict[int, list[Access]] = defaultdict(list)
    for row in rows(_ACCESSES):
        accesses[row[0]].append(Access(*row))
    for of_place in accesses.values():
        _accesses(found, of_place)
    changes = _changes(found)
    watched = sorted({place for place, spans in changes.items() if any(two for _, two in spans)})
    for where, at, person, place in rows(_MOVED, [watched] * 4):
        found.checked += 1
        if _two_person(changes[place], at) and not any(one.admits(person, at) for one in accesses[place]):
            found.breach(where, "done in a vault that its two people had not open", at=str(at), by=person)
    _counts(found)


def _accesses(found: Check, of_place: list[Access]) -> None:
    for before, one in zip([None, *of_place], of_place, strict=False):
        found.checked += 1
        where = f"access {one.number}"
        if one.by == one.second:
            found.breach(where, "opened by two people")
        if one.closed and one.closed < one.opened:
            found.breach(where, "closed after it was opened", opened=str(one.opened), closed=str(one.closed))
        if one.closed_by not in (None, one.by, one.second) and not one.note:
            found.breach(where, "closed by one of the two, or with a reason")
        if before and (before.closed is None or before.closed > one.opened):
            found.breach(where, "opened while it was open already", other=before.number)


def _changes(found: Check) -> dict[int, list[tuple[datetime | None, bool]]]:
    """For each place, from when on two people opened it or not; and its last change is how it stands."""
    spans: dict[int, list[tuple[datetime | None, bool]]] = {}
    last: dict[int, tuple[bool, bool]] = {}
    for place, at, active, two, was in rows(
        "SELECT place_id, at, active, two_person, was_two_person FROM custody_placechange ORDER BY id"
    ):
        spans.setdefault(place, [(None, was)]).append((at, two))
        last[place] = (active, two)
    for place, code, active, two in rows("SELECT id, code, active, two_person FROM custody_place"):
        found.expect((active, two), last.get(place, (active, two)), f"place {code}", "as it was last changed")
        spans.setdefault(place, [(None, two)])
    return spans


def _two_person(spans: list[tuple[datetime | None, bool]], at: datetime) -> bool:
    return [two for since, two in spans if since is None or since <= at][-1]


class _Stock:
    """What stood at the counted places at any time, from where lots were made, handed over and worked."""

    def __init__(self, places: list[int]) -> None:
        self.made = {lot: told for lot, *told in rows(_STOOD, [places, places])}
        self.passed: dict[int, list[tuple]] = defaultdict(list)
        self.masses: dict[int, list[tuple]] = defaultdict(list)
        for lot, *told in rows(_PASSED, [list(self.made)]):
            self.passed[lot].append(told)
        for lot, *told in rows(_MASSES, [list(self.made)]):
            self.masses[lot].append(told)

    def at(self, place: int, at: datetime) -> dict[int, int]:
        """The lots with mass at a place at that time, each with who held it."""
        found = {}
        for lot, (_, first_place, first_holder) in self.made.items():
            holds = (first_place, first_holder)
            for when, to_place, to_person in self.passed[lot]:
                holds = (to_place, to_person) if when <= at else holds
            if holds[0] == place and sum(mg for _, when, mg in self.masses[lot] if when <= at) > 0:
                found[lot] = holds[1]
        return found

    def gross(self, lot: int, last_movement: int) -> int:
        """What the lot weighed by its book after this line."""
        return sum(mg for movement, _, mg in self.masses[lot] if movement <= last_movement)


def _counts(found: Check) -> None:
    counts = rows("SELECT id, number, place_id, at, by_id, second_id FROM custody_stockcount")
    if not counts:
        return
    stock = _Stock(sorted({count[2] for count in counts}))
    told: dict[int, dict[int, tuple]] = defaultdict(dict)
    for count, lot, *line in rows(
        "SELECT count_id, lot_id, custodian_id, book_mg, last_movement, found, note FROM custody_stockcountline"
    ):
        told[count][lot] = line
    for pk, number, place, at, by, second in counts:
        found.checked += 1
        where = f"count {number}"
        if by == second:
            found.breach(where, "counted by two people")
        stood = stock.at(place, at)
        missing = sorted(stock.made[lot][0] for lot in stood.keys() - told[pk].keys())
        more = sorted(told[pk].keys() - stood.keys())
        if missing or more:
            found.breach(where, "tells of every lot that stood there, and of no other", untold=missing, other_lots=more)
        for lot in told[pk].keys() & stood.keys():
            custodian, book_mg, last_movement, seen, note = told[pk][lot]
            name = f"{where}, lot {stock.made[lot][0]}"
            found.expect((custodian, book_mg), (stood[lot], stock.gross(lot, last_movement)), name, "who held how much")
            if not seen and not note:
                found.breach(name, "what is not found says why")
