"""What was amended of parcels' origins, in its place among the movements: a mixture is judged by what was so then."""

from typing import NamedTuple

from custody.queries.verify.findings import Check
from custody.queries.verify.lots import Lot
from custody.queries.verify.raw import rows, stream

ORIGIN = ("category", "country", "mine")


class NewOrigin(NamedTuple):
    """A parcel's origin as it is declared from one movement on; ``origin`` is the id by which its metal is known."""

    after_movement: int
    parcel: int
    origin: int | None
    text: str


#: By receipt, in the order of amending.
Amended = dict[int, list[NewOrigin]]


def read() -> Amended:
    """Every change of an origin in the book."""
    found: Amended = {}
    declared: dict[int, dict[str, str]] = {}
    for receipt, lot, origin, field, after, movement, *first in rows(
        "SELECT a.receipt_id, a.lot_id, o.id, a.field, a.after, a.after_movement, p.category, p.country, p.mine"
        " FROM custody_amendment a JOIN custody_parcel p ON p.lot_id = a.lot_id"
        " LEFT JOIN custody_origin o ON o.lot_id = a.lot_id"
        " WHERE a.field IN ('category', 'country', 'mine') ORDER BY a.id"
    ):
        now = declared.setdefault(lot, dict(zip(ORIGIN, first, strict=True)))
        now[field] = after
        text = "|".join(now[name] for name in ORIGIN if now[name])
        found.setdefault(receipt, []).append(NewOrigin(movement, lot, origin, text))
    return found


def catch_up(lot: Lot, amended: Amended, before: int) -> None:
    """What was amended since the lot's last movement and before this one counts for it from now on.

    A lot takes over the origin of a parcel whose metal alone is in it; one made later was made of what was right.
    """
    since = max(lot.amended_until, lot.last_movement)
    for one in amended.get(lot.made.receipt or 0, ()):
        if since <= one.after_movement < before and (lot.made.id == one.parcel or _alone(lot, one)):
            lot.amended_origin = one.text
    lot.amended_until = before


def _alone(lot: Lot, one: NewOrigin) -> bool:
    return one.origin is not None and lot.sole == one.origin


def check(lots: dict[int, Lot], amended: Amended, found: Check) -> None:
    """Notes a lot whose amended origin is not what the amendments make it, and what needed a countersignature."""
    for lot, number, stored in stream(
        "SELECT id, number, amended_origin FROM custody_lot WHERE amended_origin IS NOT NULL OR receipt_id IN"
        " (SELECT receipt_id FROM custody_amendment WHERE lot_id IS NOT NULL)"
    ):
        if lot in lots:
            found.checked += 1
            catch_up(lots[lot], amended, 2**63)
            found.expect(stored, lots[lot].amended_origin, f"lot {number}", "its origin as amended")
    for amendment, receipt, field, by, signer, reason in rows(
        "SELECT a.id, r.number, a.field, a.by_id, a.countersigned_by_id, a.reason FROM custody_amendment a"
        " JOIN custody_operation r ON r.id = a.receipt_id"
    ):
        found.checked += 1
        where = f"amendment {amendment} of {receipt}"
        if signer == by or (signer is None and field in ORIGIN):
            found.breach(where, "a changed origin is countersigned by another", field=field)
        if not reason:
            found.breach(where, "an amendment says why")
