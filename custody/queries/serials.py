"""Serials: the ranges set aside, what became of each serial of a range, and which is the next free one."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from django.db import connection
from django.db.models import Q, QuerySet
from django.db.models.functions import Length

from custody.models import BarType, SerialRange, User
from custody.queries import scope
from custody.roles import Verb, may

FREE, RESERVED, SPOILED = "free", "reserved", "spoiled"
STAMPED, CANCELLED, REMELTED, DISPATCHED, RETURNED = "stamped", "cancelled", "remelted", "dispatched", "returned"
#: Every serial of a range is in one of these; their counts add up to the range's size.
STATES = (FREE, RESERVED, STAMPED, DISPATCHED, RETURNED, REMELTED, CANCELLED, SPOILED)

#: What the first bar of a year is numbered, where the house has stamped none yet and set no range aside.
FIRST_SERIAL = "A000001"

# What is known of each serial of a range, one row a serial: the last bar that bears it before what was said of it.
_TOLD = """
WITH bars AS (
    SELECT DISTINCT ON (b.serial) b.serial, b.id, b.cancelled_by_id, b.replaces_id, l.number AS lot, l.gross_mg,
           p.name AS place, o.number AS operation, o.kind, y.name AS party, c.number AS cancelled
      FROM custody_bar b JOIN custody_lot l ON l.id = b.lot_id LEFT JOIN custody_place p ON p.id = l.place_id
      LEFT JOIN custody_movement m ON m.id = l.last_movement LEFT JOIN custody_operation o ON o.id = m.operation_id
      LEFT JOIN custody_party y ON y.id = o.party_id LEFT JOIN custody_operation c ON c.id = b.cancelled_by_id
     WHERE (b.mark, b.year) = (%(mark)s, %(year)s) AND b.serial COLLATE "C" >= %(low)s
           AND b.serial COLLATE "C" <= %(high)s
           AND length(b.serial) = length(%(low)s) AND substr(b.serial, %(digits)s) ~ '^[0-9]+$'
     ORDER BY b.serial, b.id DESC
), said AS (
    SELECT DISTINCT ON (e.serial) e.serial, e.fate, e.reason, btrim(concat(u.first_name, ' ', u.last_name)) AS by
      FROM custody_serialevent e JOIN custody_user u ON u.id = e.by_id
     WHERE (e.mark, e.year) = (%(mark)s, %(year)s) AND e.serial COLLATE "C" >= %(low)s
           AND e.serial COLLATE "C" <= %(high)s
           AND length(e.serial) = length(%(low)s) AND substr(e.serial, %(digits)s) ~ '^[0-9]+$'
     ORDER BY e.serial, e.id DESC
), told AS (
    SELECT serial, CASE
             WHEN b.id IS NOT NULL AND b.cancelled_by_id IS NULL THEN CASE
                 WHEN b.gross_mg > 0 THEN 'stamped'
                 WHEN b.kind <> 'dispatch' THEN 'remelted'
                 WHEN EXISTS (SELECT FROM custody_parcel a JOIN custody_lot r ON r.id = a.lot_id
                               JOIN custody_operation d ON d.id = r.created_by_id
                               WHERE a.returned_from_id = b.id
                                 AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = d.id))
                 THEN 'returned'
                 ELSE 'dispatched' END
             WHEN s.fate = 'spoiled' THEN 'spoiled'
             WHEN b.id IS NOT NULL THEN 'cancelled'
             WHEN s.fate = 'reserved' THEN 'reserved'
             ELSE 'free' END AS state,
           b.lot, b.place, b.operation, b.kind, b.party, b.cancelled, s.reason, s.by,
           (SELECT l.number FROM custody_bar r JOIN custody_lot l ON l.id = r.lot_id
             WHERE r.id = b.replaces_id) AS replaces
      FROM bars b FULL JOIN said s USING (serial)
)
"""
_COUNTS = _TOLD + "SELECT state, count(*) FROM told WHERE state <> 'free' GROUP BY state"
_FIELDS = "serial, state, lot, place, operation, kind, party, cancelled, reason, by, replaces"
_OF_STATE = _TOLD + f"SELECT {_FIELDS} FROM told WHERE state = %(state)s ORDER BY serial OFFSET %(skip)s LIMIT %(most)s"
_THESE = _TOLD + f"SELECT {_FIELDS} FROM told"
_NOT_FREE = _TOLD + "SELECT serial FROM told WHERE state <> 'free'"


@dataclass(frozen=True, slots=True)
class Told:
    """One serial: its state, the lot that bears it, and the rest in words."""

    serial: str
    state: str
    lot: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class Register:
    """The serials of one range, state by state."""

    range: SerialRange

    @property
    def size(self) -> int:
        """How many serials the range has."""
        return self.range.last - self.range.first + 1

    def counts(self) -> dict[str, int]:
        """How many serials are in each state; they add up to the size."""
        found = dict(_rows(_COUNTS, self._asked()))
        return {state: found.get(state, 0) for state in STATES} | {FREE: self.size - sum(found.values())}

    def page(self, state: str, skip: int, most: int) -> list[Told]:
        """So many serials from a place on, in order: of one state, or all where it is empty."""
        if state and state != FREE:
            return [
                _told(*row) for row in _rows(_OF_STATE, self._asked() | {"state": state, "skip": skip, "most": most})
            ]
        if state == FREE:
            numbers = _some(self._free_numbers(), skip, most)
        else:
            numbers = list(range(self.range.first + skip, min(self.range.first + skip + most, self.range.last + 1)))
        if not numbers:
            return []
        known = {row[0]: _told(*row) for row in _rows(_THESE, self._asked(numbers[0], numbers[-1]))}
        serials = map(self.range.serial, numbers)
        return [known.get(serial) or Told(serial, FREE) for serial in serials]

    def only(self, serial: str) -> list[Told]:
        """That serial, where it is one of the range's."""
        digits = serial[len(self.range.head) :]
        number = int(digits) if re.fullmatch("[0-9]{1,12}", digits, re.ASCII) else -1
        inside = self.range.first <= number <= self.range.last and serial == self.range.serial(number)
        return self.page("", number - self.range.first, 1) if inside else []

    def free(self, count: int) -> list[str]:
        """The first ``count`` serials that no bar bears and that nobody reserved or spoiled; fewer where it ends."""
        return [self.range.serial(number) for number in _some(self._free_numbers(), 0, count)]

    def _free_numbers(self) -> Iterator[int]:
        head = len(self.range.head)
        gone = {int(serial[head:]) for (serial,) in _rows(_NOT_FREE, self._asked())}
        return (number for number in range(self.range.first, self.range.last + 1) if number not in gone)

    def _asked(self, first: int | None = None, last: int | None = None) -> dict:
        low = self.range.first if first is None else first
        high = self.range.last if last is None else last
        return {
            "mark": self.range.mark,
            "year": self.range.year,
            "digits": len(self.range.head) + 1,
            "low": self.range.serial(low),
            "high": self.range.serial(high),
        }


def ranges(viewer: User) -> QuerySet[SerialRange]:
    """The ranges that the viewer may see: the house's own, the latest year first."""
    if not (viewer.is_active and may(viewer.roles, Verb.READ_BOOK)):
        return SerialRange.objects.none()
    return SerialRange.objects.select_related("bar_type", "set_by").order_by("-year", "mark", "head", "first")


def ranges_with(serial: str, viewer: User) -> list[SerialRange]:
    """The ranges that a serial lies in, whatever their mark and year."""
    digits = re.search(r"[0-9]{0,12}$", serial, re.ASCII).group()
    lies = Q()
    for width in range(1, len(digits) + 1):
        number = int(digits[-width:])
        lies |= Q(head=serial[:-width], width=width, first__lte=number, last__gte=number)
    return list(ranges(viewer).filter(lies)) if lies else []


def next_serials(viewer: User, year: int, mark: str, count: int, bar_type: BarType | None = None) -> list[str]:
    """The next free serials: of the type's own ranges first, then of those for any; fewer where the ranges end.

    Without a range of that mark and year they follow the highest that was stamped.
    """
    ours = list(ranges(viewer).filter(mark=mark, year=year).order_by("first", "id"))
    if not ours:
        return _after_the_highest(viewer, year, mark, count)
    own = [one for one in ours if bar_type and one.bar_type_id == bar_type.pk]
    found: list[str] = []
    for one in (*own, *(one for one in ours if one.bar_type_id is None)):
        found += Register(one).free(count - len(found))
        if len(found) == count:
            break
    return found


def _after_the_highest(viewer: User, year: int, mark: str, count: int) -> list[str]:
    """Cancelled ones count: they are used for ever."""
    numbered = scope.bars(viewer).filter(year=year, mark=mark, serial__regex="[0-9]$")
    highest = numbered.order_by(Length("serial").desc(), "-serial").values_list("serial", flat=True).first()
    head, digits = re.fullmatch(r"(.*?)([0-9]+)", highest or FIRST_SERIAL).groups()
    first = int(digits) + (highest is not None)
    return [f"{head}{first + i:0{len(digits)}d}" for i in range(count)]


def _some(numbers: Iterator[int], skip: int, most: int) -> list[int]:
    found = []
    for place, number in enumerate(numbers):
        if place >= skip + most:
            break
        if place >= skip:
            found.append(number)
    return found


def _told(serial, state, lot, place, operation, kind, party, cancelled, reason, by, replaces) -> Told:
    words = {
        STAMPED: f"at {place}",
        DISPATCHED: f"{operation}, to {party}",
        RETURNED: f"left with {operation}, came back over the counter",
        REMELTED: f"went into {kind} {operation}",
        CANCELLED: f"by {cancelled}",
        RESERVED: f"for {reason}, by {by}",
        SPOILED: f"{reason}, by {by}",
        FREE: "",
    }[state]
    if replaces and state not in (FREE, RESERVED):
        words += f"; replaces lot {replaces}, cancelled"
    return Told(serial, state, lot or "", words)


def _rows(query: str, asked: dict) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(query, asked)
        return cursor.fetchall()
