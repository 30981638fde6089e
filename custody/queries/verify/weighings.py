"""Weighings (I4): each on a scale that was checked that day, and every handover weighed again or saying why not.

What a scale may be off by is reckoned anew from its plate (OIML R 76-1, Table 6, doubled in service).
"""

from collections import defaultdict
from datetime import date, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo

from custody.calc.rounding import half_even
from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows, stream
from custody.terms import Form, NotWeighed, Purpose

UG = 1000
#: Up to how many e a load is permitted half an e on first verification, and up to how many one e; by accuracy class.
TABLE_6 = {"I": (50_000, 200_000), "II": (5_000, 20_000), "III": (500, 2_000), "IIII": (50, 200)}

_CHECKS = """
SELECT c.id, c.scale_id, c.at, c.day, c.recorded_at, c.passed, c.reason, l.load_mg, l.reference_ug, l.reading_ug,
       l.limit_ug
  FROM custody_scalecheck c LEFT JOIN custody_scalecheckload l ON l.check_of_id = c.id ORDER BY c.at, c.id
"""
_WEIGHINGS = """
SELECT w.id, w.lot_id, coalesce(l.number, '') AS number, w.scale_id, w.gross_mg, w.tare_mg, w.net_mg, w.purpose, w.at,
       w.by_id, g.scale_id AS g_scale, g.stable AS g_stable, g.value_ug AS g_ug, t.scale_id AS t_scale,
       t.stable AS t_stable, t.value_ug AS t_ug, w.gross_reading_id, w.tare_reading_id
  FROM custody_weighing w LEFT JOIN custody_lot l ON l.id = w.lot_id
  LEFT JOIN custody_scalereading g ON g.id = w.gross_reading_id
  LEFT JOIN custody_scalereading t ON t.id = w.tare_reading_id
"""
_HANDOVERS = """
SELECT h.id, h.lot_id, l.number, l.form, b.id IS NOT NULL AS bar, h.at, h.from_person_id, h.to_person_id,
       h.from_place_id, h.to_place_id, h.by_id, h.signed_by_id, h.countersigned_by_id, h.countersign_meaning,
       h.book_mg, h.weighed_mg, h.weighing_id, h.allowed_ug, h.not_weighed, h.seen, h.explanation
  FROM custody_handover h JOIN custody_lot l ON l.id = h.lot_id LEFT JOIN custody_bar b ON b.lot_id = l.id
"""
#: What left: every parcel that went back, and what was no bar with a serial. A past record has no weighings.
_LEFT = """
SELECT o.number, l.number, m.gross_mg, w.net_mg, w.scale_id, b.scale_id,
       o.countersigned_by_id IS NOT NULL AND o.reason <> '' AS signed
  FROM custody_collection c JOIN custody_operation o ON o.id = c.operation_id
  JOIN custody_movement m ON m.operation_id = o.id AND m.side = 'in' JOIN custody_lot l ON l.id = m.lot_id
  LEFT JOIN custody_weighing w ON w.operation_id = o.id AND w.lot_id = l.id
       AND w.purpose = CASE WHEN c.against = 'returned' THEN 'return' ELSE 'gate' END
  LEFT JOIN LATERAL (SELECT scale_id FROM custody_weighing e WHERE e.lot_id = l.id AND e.id < w.id
                      ORDER BY e.id DESC LIMIT 1) b ON true
 WHERE o.source = 'live' AND (c.against = 'returned' OR NOT EXISTS (
       SELECT FROM custody_bar r WHERE r.lot_id = l.id AND r.cancelled_by_id IS NULL))
"""


class Plate(NamedTuple):
    """What the plate of a scale says."""

    code: str
    accuracy: str
    e_mg: int
    min_ug: int
    max_mg: int


class Checked(NamedTuple):
    """One check of a scale."""

    at: datetime
    recorded_at: datetime
    passed: bool


class Weighing(NamedTuple):
    """One weighing, with what its readings were."""

    id: int
    lot: int
    number: str
    scale: int
    gross_mg: int
    tare_mg: int
    net_mg: int
    purpose: str
    at: datetime
    by: int
    gross_read: tuple
    tare_read: tuple


class Passing(NamedTuple):
    """One handover, with what its lot is."""

    id: int
    lot: int
    number: str
    form: str
    bar: bool
    at: datetime
    from_person: int
    to_person: int
    from_place: int
    to_place: int
    by: int
    signed_by: int | None
    countersigned_by: int | None
    countersign_meaning: str
    book_mg: int
    weighed_mg: int | None
    weighing: int | None
    allowed_ug: int | None
    not_weighed: str
    seen: bool
    explanation: str


def check(found: Check) -> None:
    """Notes weighings that no good scale made, and handovers that are neither weighed nor excused."""
    of_scales = _Scales(found)
    again: dict[int, tuple[Weighing, int]] = {}
    last: dict[int, int] = {}
    for row in stream(_WEIGHINGS):
        weighing = Weighing(*row[:10], (row[16], *row[10:13]), (row[17], *row[13:16]))
        found.checked += 1
        of_scales.examine(weighing)
        if weighing.purpose == Purpose.HANDOVER:
            again[weighing.id] = weighing, last.get(weighing.lot, weighing.scale)
        last[weighing.lot] = weighing.scale
    for row in stream(_HANDOVERS):
        found.checked += 1
        _handover(Passing(*row), again, of_scales, found)
    for row in rows(_LEFT):
        found.checked += 1
        _left(*row, of_scales, found)
    for weighing, _ in again.values():
        found.breach(f"weighing {weighing.id} of lot {weighing.number}", "it belongs to no handover")


class _Scales:
    """The scales with their checks, as they stood at each moment."""

    def __init__(self, found: Check) -> None:
        self.found = found
        zone = rows("SELECT time_zone FROM custody_refinery WHERE id = 1")
        self.zone = ZoneInfo(zone[0][0] if zone else "UTC")
        self.plates = {
            pk: Plate(*plate)
            for pk, *plate in rows("SELECT id, code, accuracy, e_mg, min_ug, max_mg FROM custody_scale")
        }
        self.checks: dict[tuple[int, date], list[Checked]] = defaultdict(list)
        loads = defaultdict(list)
        heads = {}
        for pk, scale, at, day, recorded_at, passed, reason, *load in rows(_CHECKS):
            heads[pk] = scale, at, day, recorded_at, passed, reason
            loads[pk] += [load] if load[0] is not None else []
        for pk, head in heads.items():
            if head[0] in self.plates:
                self._check(pk, *head, loads[pk])
            else:
                found.breach(f"check {pk}", "of a scale that is not there")

    def may_be_off_ug(self, scale: int, load_mg: int) -> int:
        """Micrograms either way in service, at a load in milligrams; nothing for a scale that is not there."""
        plate = self.plates.get(scale)
        if plate is None:
            return 0
        halves = 1 + sum(load_mg > limit * plate.e_mg for limit in TABLE_6[plate.accuracy])
        return halves * plate.e_mg * UG

    def _check(self, pk, scale, at, day, recorded_at, passed, reason, loads) -> None:
        where = f"check {pk} of scale {self.plates[scale].code}"
        self.found.checked += 1
        self.found.expect(str(day), str(at.astimezone(self.zone).date()), where, "the day is the local day of its time")
        for load_mg, *_, limit in loads:
            self.found.expect(limit, self.may_be_off_ug(scale, load_mg), where, "what the scale may be off by")
        good = bool(loads) and all(
            abs(reading - reference) <= self.may_be_off_ug(scale, load_mg) for load_mg, reference, reading, _ in loads
        )
        self.found.expect(passed, good, where, "whether it passed")
        if not loads and not reason:
            self.found.breach(where, "neither a load nor a fault")
        self.checks[scale, at.astimezone(self.zone).date()].append(Checked(at, recorded_at, good))

    def examine(self, one: Weighing) -> None:
        """Notes what is wrong with one weighing."""
        where = f"weighing {one.id} of lot {one.number}"
        plate = self.plates.get(one.scale)
        if plate is None:
            self.found.breach(where, "on a scale that is not there")
            return
        self.found.expect(one.net_mg, one.gross_mg - one.tare_mg, where, "net = gross − tare")
        if not plate.min_ug <= one.gross_mg * UG <= plate.max_mg * UG:
            self.found.breach(where, f"a load that scale {plate.code} does not weigh", gross_mg=one.gross_mg)
        if not self._was_good(one):
            self.found.breach(where, f"scale {plate.code} was not checked that day, or had failed", at=str(one.at))
        for mass_mg, (reading, scale, stable, value_ug) in (
            (one.gross_mg, one.gross_read),
            (one.tare_mg, one.tare_read),
        ):
            if reading and (scale != one.scale or not stable or half_even(value_ug, UG) != mass_mg):
                self.found.breach(where, "it is what the scale sent", stored=mass_mg, sent_ug=value_ug)

    def _was_good(self, one: Weighing) -> bool:
        """Whether the last check of that day passed. A fault that was found later, dated back, came too late."""
        known = [
            check
            for check in self.checks.get((one.scale, one.at.astimezone(self.zone).date()), ())
            if check.at <= one.at and (check.passed or check.recorded_at <= one.at)
        ]
        return bool(known) and known[-1].passed


def _handover(one: Passing, again: dict[int, tuple[Weighing, int]], scales: _Scales, found: Check) -> None:
    where = f"handover {one.id} of lot {one.number}"
    beyond = False
    if one.weighing is not None:
        weighing, before = again.pop(one.weighing, (None, 0))
        if weighing is None:
            found.breach(where, "its weighing is not there")
            return
        found.expect(
            (one.lot, one.at, one.by, one.weighed_mg),
            (weighing.lot, weighing.at, weighing.by, weighing.net_mg),
            where,
            "lot, time, person and net of its weighing",
        )
        allowed = scales.may_be_off_ug(weighing.scale, weighing.net_mg) + scales.may_be_off_ug(before, one.book_mg)
        found.expect(one.allowed_ug, allowed, where, "what both scales may be off by")
        beyond = abs(weighing.net_mg - one.book_mg) * UG > allowed
    for what, holds in _promises(one, beyond).items():
        if not holds:
            found.breach(where, what)


def _left(
    operation: str,
    lot: str,
    book_mg: int,
    net_mg: int | None,
    now_on: int | None,
    before_on: int | None,
    signed: bool,
    scales: _Scales,
    found: Check,
) -> None:
    where = f"lot {lot} sent out by {operation}"
    if net_mg is None:
        found.breach(where, "it is weighed as it leaves")
        return
    allowed = scales.may_be_off_ug(now_on, net_mg) + scales.may_be_off_ug(before_on or now_on, book_mg)
    if abs(net_mg - book_mg) * UG > allowed and not signed:
        found.breach(where, "a difference is explained and countersigned", weighed_mg=net_mg, book_mg=book_mg)


def _promises(one: Passing, beyond: bool) -> dict[str, bool]:
    """What a handover must say of itself, each with whether it does."""
    missing, content = one.not_weighed == NotWeighed.MISSING, one.form == Form.IN_PROCESS
    needed = beyond or one.not_weighed == NotWeighed.POWER
    persons = {one.by, one.signed_by, one.from_person, one.to_person}
    both = {one.from_person, one.to_person}
    return {
        "it is weighed, or says why not": (one.weighing is None) == (one.not_weighed in set(NotWeighed)),
        "weighed, or not": (one.weighing is None) == (one.weighed_mg is None) == (one.allowed_ug is None),
        "a content of a vessel is not weighed": missing or content == (one.not_weighed == NotWeighed.VESSEL),
        "a serial is on a bar": one.bar or one.not_weighed != NotWeighed.SERIAL,
        "a difference is explained, and nothing else": (beyond or missing) == bool(one.explanation),
        "countersigned where it is needed": needed == (one.countersigned_by is not None),
        "countersigned in words": needed == bool(one.countersign_meaning),
        "countersigned by another": one.countersigned_by is None or one.countersigned_by not in persons,
        "seen, or not found": one.seen or missing or content,
        "recorded by who gives or takes": one.from_person in {one.by, one.signed_by} if missing else one.by in both,
        "signed beside by the other": one.signed_by is None
        or (one.signed_by != one.by and (missing or {one.by, one.signed_by} == both)),
        "a shift handover is signed by both": one.signed_by is not None
        or one.not_weighed not in (NotWeighed.SHIFT, NotWeighed.MISSING),
        "what is not found stays": not missing
        or (not one.seen and (one.from_person, one.from_place) == (one.to_person, one.to_place)),
    }
