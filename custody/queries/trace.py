"""Where the milligrams of a lot came from, and where an origin's went: index reads of the stored provenance.

The lot graph (ancestors, descendants) is walked only when asked for: it may grow with the whole history.
"""

from datetime import date
from typing import NamedTuple

from django.db import connection

from custody.errors import Refusal
from custody.models import Bar, Lot, Operation, Parcel
from custody.queries.amendments import origins_amended
from custody.terms import METALS

# Walks the lot graph one way, the nearest lots first, and stops at ``most``; what reversed operations did is no longer
# part of it.
_WALK = """
WITH RECURSIVE walk (id) AS (
    SELECT %(lot)s::bigint
    UNION
    SELECT e.{far} FROM walk w JOIN custody_edge e ON e.{near} = w.id
     WHERE NOT EXISTS (SELECT FROM custody_operation r WHERE r.reverses_id = e.operation_id)
), near AS MATERIALIZED (SELECT id FROM walk LIMIT %(most)s)
SELECT l.number FROM near w JOIN custody_lot l ON l.id = w.id WHERE w.id <> %(lot)s ORDER BY l.id
"""


class Share(NamedTuple):
    """So many milligrams of one metal from one origin. ``origin`` is the parcel's lot, or ``difference``.

    For a difference ``receipt`` is the operation that gained it, and party, country and category are empty.
    """

    metal: str
    origin: str
    party: str
    party_name: str
    receipt: str
    received_on: date
    country: str
    category: str
    mg: int
    difference: bool


class Fate(NamedTuple):
    """So many milligrams of one metal of an origin: in a bar, in stock, dispatched or lost by a cause."""

    metal: str
    fate: str
    mg: int
    lot: str = ""
    serial: str = ""
    cause: str = ""
    operation: str = ""


def find_lot(code: str) -> Lot:
    """The lot of a lot number or of a bar's serial; ``MARK SERIAL YEAR`` names one bar where a serial does not.

    Raises ``Refusal`` for an unknown one, and for a serial that several bars carry, with the candidates.
    """
    lot = Lot.objects.filter(number=code).first()
    if lot:
        return lot
    bars = Bar.objects.filter(serial=code)
    parts = code.split()
    if len(parts) == 3 and parts[2].isascii() and parts[2].isdigit() and len(parts[2]) == 4:
        bars = Bar.objects.filter(mark=parts[0], serial=parts[1], year=int(parts[2]))
    candidates = list(bars.select_related("lot").order_by("id"))
    standing = [bar for bar in candidates if bar.cancelled_by_id is None] or candidates
    if len(standing) == 1:
        return standing[0].lot
    if standing:
        named = ", ".join(f"{bar} (lot {bar.lot.number})" for bar in standing)
        raise Refusal(f"Serial {code} is on more than one bar: {named}. Name the lot.")
    raise Refusal(f"There is no lot and no bar {code[:60]}. Check the number, or scan the label.")


def origins_of(lot: Lot) -> list[Share]:
    """The origins of everything in a lot, milligrams, largest first within each metal.

    A lot that was emptied answers as it last left. An unvalued lot answers by gross (metal ``gross``).
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM custody_origins_of(%s)", [lot.pk])
        shares = [*map(Share._make, cursor.fetchall())]
    # Amendments of an origin are few in the whole book: their numbers are asked for, not those of a bar's origins.
    amended: dict[str, dict[str, str]] = {}
    for number, field, after in origins_amended("country", "category"):
        amended.setdefault(number, {})[field] = after
    return [share._replace(**amended[share.origin]) if share.origin in amended else share for share in shares]


def fates_of(lot: Lot) -> list[Fate]:
    """Every fate of the metal of a parcel, milligrams; what is still unvalued by gross (metal ``gross``).

    Raises ``Refusal`` for a lot that is no parcel.
    """
    origin = getattr(lot, "origin", None)
    if origin is None:
        raise Refusal(f"Lot {lot.number} is not a parcel: trace it back, or trace forward from a parcel of a receipt.")
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM custody_fates_of(%s)", [origin.pk])
        return [*map(Fate._make, cursor.fetchall())]


def ancestors_of(lot: Lot, *, most: int | None = None) -> list[str]:
    """Numbers of all lots that went into this one, or the nearest ``most`` of them, in the order made."""
    return _walk(lot, near="child_id", far="parent_id", most=most)


def descendants_of(lot: Lot, *, most: int | None = None) -> list[str]:
    """Numbers of all lots that this one went into, or the nearest ``most`` of them, in the order made."""
    return _walk(lot, near="parent_id", far="child_id", most=most)


def _walk(lot: Lot, *, near: str, far: str, most: int | None) -> list[str]:
    with connection.cursor() as cursor:
        # The lot itself is the first of the walk. LIMIT NULL is no limit.
        wanted = {"lot": lot.pk, "most": None if most is None else most + 1}
        cursor.execute(_WALK.format(near=near, far=far), wanted)
        return [number for (number,) in cursor.fetchall()]


def returned_bar(lot: Lot) -> Bar | None:
    """The bar that came back over the counter as this parcel; it is no ancestor."""
    parcel = Parcel.objects.filter(lot=lot).select_related("returned_from__lot").first()
    return parcel.returned_from if parcel else None


def cancelled_by(lot: Lot) -> Operation | None:
    """The reversal that cancelled a lot by undoing what made it."""
    return Operation.objects.filter(reverses=lot.created_by_id).first()


def back_document(lot: Lot, *, graph: bool = True) -> dict:
    """The contract's answer to ``trace --back``."""
    shares = origins_of(lot)
    metals = {}
    for metal in METALS:
        of_metal = [share for share in shares if share.metal == metal]
        if of_metal:
            metals[metal] = {
                "total_mg": sum(share.mg for share in of_metal),
                "origins": [
                    {"origin": s.origin, "party": s.party, "receipt": s.receipt, "mg": s.mg}
                    for s in of_metal
                    if not s.difference
                ],
                "difference_mg": sum(share.mg for share in of_metal if share.difference),
            }
    document = {"lot": lot.number, "direction": "back", "metals": metals}
    unvalued = [{"origin": s.origin, "gross_mg": s.mg} for s in shares if s.metal == "gross"]
    if unvalued:
        document["unvalued"] = unvalued
    document |= _came_back(lot)
    if graph:
        document["ancestors"] = ancestors_of(lot)
    return document


def forward_document(lot: Lot, *, graph: bool = True) -> dict:
    """The contract's answer to ``trace --forward``. Raises ``Refusal`` for a lot that is no parcel."""
    fates = fates_of(lot)
    metals = {}
    for metal in METALS:
        of_metal = [fate for fate in fates if fate.metal == metal]
        if of_metal:
            metals[metal] = {
                "total_mg": sum(fate.mg for fate in of_metal),
                "fates": [_fate_document(fate) for fate in of_metal],
            }
    document = {"lot": lot.number, "direction": "forward", "metals": metals}
    unvalued = [{"lot": f.lot, "gross_mg": f.mg} for f in fates if f.metal == "gross"]
    if unvalued:
        document["unvalued"] = unvalued
    document |= _came_back(lot)
    if graph:
        document["descendants"] = descendants_of(lot)
    return document


def _came_back(lot: Lot) -> dict:
    bar = returned_bar(lot)
    return {"returned_from": bar.lot.number} if bar else {}


def _fate_document(fate: Fate) -> dict:
    keys = {
        "bar": ("lot", "serial"),
        "stock": ("lot",),
        "dispatched": ("lot", "operation"),
        "loss": ("cause",),
    }[fate.fate]
    if fate.fate == "dispatched" and fate.serial:
        keys += ("serial",)
    return {"fate": fate.fate, **{key: getattr(fate, key) for key in keys}, "mg": fate.mg}
