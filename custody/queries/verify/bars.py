"""Bars (I6): each weighs and holds what its type asks, its serial lay in a range that stood when it was stamped, no
spoiled serial is borne, and no two ranges share one.

Past records name no type, and their serials were set aside elsewhere: they are left out.
"""

from collections import defaultdict

from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows, stream
from custody.terms import COLUMNS, PPM

_BARS = """
SELECT b.id, b.mark, b.year, b.serial, b.bar_type_id, b.cancelled_by_id IS NOT NULL, o.recorded_at,
       m.gross_mg, m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg
  FROM custody_bar b JOIN custody_lot l ON l.id = b.lot_id JOIN custody_operation o ON o.id = l.created_by_id
  JOIN custody_movement m ON m.operation_id = o.id AND m.side = 'out' AND m.lot_id = l.id
 WHERE o.source <> 'history'
"""
_SPOILED = """
SELECT e.mark, e.year, e.serial FROM custody_serialevent e
 WHERE e.fate = 'spoiled' AND EXISTS (SELECT FROM custody_bar b WHERE (b.mark, b.year, b.serial) =
                                      (e.mark, e.year, e.serial) AND b.cancelled_by_id IS NULL)
"""


def check(found: Check) -> None:
    """Notes bars outside their type or range, spoiled serials that are borne, and ranges that meet."""
    types = {
        pk: rest for pk, *rest in rows("SELECT id, name, metal, least_mg, most_mg, least_ppm FROM custody_bartype")
    }
    ranges = defaultdict(list)
    for mark, year, *one in rows(
        "SELECT mark, year, head, width, first, last, bar_type_id, set_at FROM custody_serialrange ORDER BY id"
    ):
        ranges[mark, year].append(one)
    for (mark, year), ones in ranges.items():
        _apart(f"serials of {mark} {year}", ones, found)
    for _, mark, year, serial, kind, cancelled, recorded_at, *amounts in stream(_BARS):
        found.checked += 1
        where = f"bar {mark} {serial} {year}"
        if kind is not None:
            _of_type(where, types.get(kind), amounts, found)
        standing = [one for one in ranges[mark, year] if one[5] <= recorded_at]
        ours = [one for one in standing if _lies_in(serial, one)]
        if standing and not ours:
            found.breach(where, "its serial lies in a range", cancelled=cancelled)
        elif ours and ours[0][4] not in (None, kind):
            found.breach(where, "its serial is set aside for another type")
    for mark, year, serial in rows(_SPOILED):
        found.breach(f"bar {mark} {serial} {year}", "a spoiled serial is never borne")


def _of_type(where: str, kind: list | None, amounts: list[int], found: Check) -> None:
    if kind is None:
        found.breach(where, "of a type that is not there")
        return
    name, metal, least_mg, most_mg, least_ppm = kind
    gross, fine = amounts[0], amounts[COLUMNS.index(metal)]
    if not least_mg <= gross <= most_mg:
        found.breach(where, f"it weighs what {name} asks", gross_mg=gross, least_mg=least_mg, most_mg=most_mg)
    if fine * PPM < least_ppm * gross:
        found.breach(where, f"it holds what {name} asks", fine_mg=fine, gross_mg=gross, least_ppm=least_ppm)


def _lies_in(serial: str, one: list) -> bool:
    head, width, first, last = one[:4]
    digits = serial[len(head) :]
    return (
        serial.startswith(head)
        and len(digits) == width
        and digits.isascii()
        and digits.isdigit()
        and first <= int(digits) <= last
    )


def _apart(where: str, ones: list[list], found: Check) -> None:
    """Ranges meet where the first or the last serial of one lies in another."""
    for number, (head, width, first, last, *_) in enumerate(ones):
        found.checked += 1
        ends = (f"{head}{first:0{width}d}", f"{head}{last:0{width}d}")
        for at, other in enumerate(ones):
            if at != number and any(_lies_in(end, other) for end in ends):
                found.breach(where, "no two ranges share a serial", first=ends[0], last=ends[1])
                break
