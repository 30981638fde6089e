"""Where the milligrams of a lot came from, and where an origin's went: index reads of the stored provenance.

The lot graph (ancestors, descendants) is walked only when asked for: it may grow with the whole history.
"""

from dataclasses import dataclass
from datetime import date
from itertools import groupby

from django.db import connection

from custody.errors import Refusal
from custody.models import Bar, Lot, Operation, Parcel
from custody.terms import COLUMNS, METALS, OriginKind

# A lot that was emptied traces as it last left: its content is what the last movement took. One that was cancelled
# traces as it was: the reversal's line has its amounts with the sign turned.
_BACK = """
SELECT c.column_no, o.kind, coalesce(p.number, 'difference'), coalesce(party.code, ''), coalesce(party.name, ''),
       coalesce(receipt.number, ''), receipt.day, coalesce(parcel.country, ''), coalesce(parcel.category, ''), c.mg
  FROM custody_lot l JOIN custody_movement last ON last.id = l.last_movement,
       LATERAL custody_content(l.content_movement, CASE WHEN l.gross_mg > 0 THEN custody_columns(l)
           ELSE ARRAY(SELECT abs(mg) FROM unnest(custody_columns(last)) WITH ORDINALITY u(mg, i) ORDER BY i) END,
           l.valued) c
  JOIN custody_origin o ON o.id = c.origin
  LEFT JOIN custody_lot p ON p.id = o.lot_id
  LEFT JOIN custody_parcel parcel ON parcel.lot_id = o.lot_id
  LEFT JOIN custody_operation receipt ON receipt.id = o.operation_id
  LEFT JOIN custody_party party ON party.id = receipt.party_id AND o.kind = 'parcel'
 WHERE l.id = %s
 ORDER BY c.column_no, c.mg DESC, o.id
"""

# An origin's milligrams now: lines that are wholly its own, and slices of the chunks that hold it. A lot holds what the
# line that last set its content gave it; a lot emptied by a dispatch left with that.
_FORWARD = """
WITH chunks AS MATERIALIZED (
    SELECT v.operation_id, v.line, v.column_no, v.total_mg, v.chunk * 256 + 2 * (at.i - 1) AS bit, v.mgs[at.i] AS p
      FROM custody_vector v, LATERAL (SELECT array_position(v.origins, %(origin)s::bigint) AS i) at
     WHERE v.origins @> ARRAY[%(origin)s]::bigint[]
), slices AS (
    SELECT m.id, m.operation_id, m.side, m.lot_id, m.what, m.spread, c.column_no, c.p, CASE
           WHEN m.spread = 3 THEN c.p * sign(a.mg)::bigint
           WHEN m.codes[c.column_no + 1] IS NULL THEN 0
           ELSE custody_floor_share(c.p, a.mg, c.total_mg) - 1 + 2 * get_bit(m.codes[c.column_no + 1], c.bit)
                + get_bit(m.codes[c.column_no + 1], c.bit + 1) END AS taken
      FROM chunks c JOIN custody_movement m ON m.operation_id = c.operation_id
       AND (c.line = 0 AND m.spread = 1 OR c.line > 0 AND m.line = c.line),
           LATERAL (SELECT (ARRAY[m.gross_mg, m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg])[c.column_no + 1] AS mg) a
), lines AS (
    SELECT id, operation_id, side, lot_id, what, column_no, taken,
           CASE spread WHEN 2 THEN p - taken WHEN 3 THEN p ELSE taken END AS held
      FROM slices
    UNION ALL
    SELECT m.id, m.operation_id, m.side, m.lot_id, m.what, (u.i - 1)::smallint, CASE WHEN m.whole THEN 0 ELSE u.mg END,
           NULL
      FROM custody_movement m, LATERAL unnest(custody_columns(m)) WITH ORDINALITY u(mg, i)
     WHERE m.origin_id = %(origin)s
)
SELECT CASE WHEN l.gross_mg = 0 THEN 'dispatched' WHEN l.form = 'bar' THEN 'bar' ELSE 'stock' END, l.number, bar.serial,
       '', CASE WHEN l.gross_mg = 0 THEN last_op.number END, x.column_no, h.mg
  FROM lines x JOIN custody_lot l ON l.id = x.lot_id AND l.content_movement = x.id
  JOIN custody_movement last ON last.id = l.last_movement
  JOIN custody_operation last_op ON last_op.id = last.operation_id
  LEFT JOIN custody_bar bar ON bar.lot_id = l.id AND bar.cancelled_by_id IS NULL,
       LATERAL (SELECT coalesce(x.held, (CASE WHEN l.gross_mg > 0 THEN custody_columns(l)
                                              ELSE custody_columns(last) END)[x.column_no + 1]) AS mg) h
 WHERE (l.gross_mg > 0 OR last_op.kind = 'dispatch') AND (x.column_no = 0) = NOT l.valued AND h.mg <> 0
UNION ALL
-- A lot that left whole and holds mass again, for an earlier part of it was given back.
SELECT 'dispatched', l.number, bar.serial, '', o.number, x.column_no, h.mg
  FROM lines x JOIN custody_lot l ON l.id = x.lot_id AND l.content_movement <> x.id
  JOIN custody_movement w ON w.lot_id = l.id AND w.content_before = x.id AND w.whole
  JOIN custody_operation o ON o.id = w.operation_id AND o.kind = 'dispatch'
  LEFT JOIN custody_bar bar ON bar.lot_id = l.id AND bar.cancelled_by_id IS NULL,
       LATERAL (SELECT coalesce(x.held, (custody_columns(w))[x.column_no + 1]) AS mg) h
 WHERE (x.column_no = 0) = NOT w.valued AND h.mg <> 0
   AND NOT EXISTS (SELECT FROM custody_operation r WHERE r.reverses_id = o.id)
UNION ALL
SELECT CASE x.side WHEN 'loss' THEN 'loss' ELSE 'dispatched' END, l.number, NULL, x.what, o.number, x.column_no, x.taken
  FROM lines x JOIN custody_operation o ON o.id = x.operation_id LEFT JOIN custody_lot l ON l.id = x.lot_id
 WHERE x.column_no > 0 AND x.taken <> 0 AND (x.side = 'loss' OR x.side = 'in' AND o.kind = 'dispatch')
   AND o.kind <> 'reverse' AND NOT EXISTS (SELECT FROM custody_operation r WHERE r.reverses_id = o.id)
"""

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


@dataclass(frozen=True, slots=True)
class Share:
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


@dataclass(frozen=True, slots=True)
class Fate:
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
        cursor.execute(_BACK, [lot.pk])
        return [
            Share(COLUMNS[column], *told, difference=kind == OriginKind.DIFFERENCE)
            for column, kind, *told in cursor.fetchall()
        ]


def fates_of(lot: Lot) -> list[Fate]:
    """Every fate of the metal of a parcel, milligrams; what is still unvalued by gross (metal ``gross``).

    Raises ``Refusal`` for a lot that is no parcel.
    """
    origin = getattr(lot, "origin", None)
    if origin is None:
        raise Refusal(f"Lot {lot.number} is not a parcel: trace it back, or trace forward from a parcel of a receipt.")
    with connection.cursor() as cursor:
        cursor.execute(_FORWARD, {"origin": origin.pk})
        rows = [
            Fate(COLUMNS[c], fate, mg, lot_no or "", serial or "", cause or "", operation or "")
            for fate, lot_no, serial, cause, operation, c, mg in cursor.fetchall()
        ]
    return _losses_by_cause(rows)


def _losses_by_cause(rows: list[Fate]) -> list[Fate]:
    kept = [row for row in rows if row.fate != "loss"]
    lost = sorted((row for row in rows if row.fate == "loss"), key=lambda row: (row.metal, row.cause))
    for (metal, cause), group in groupby(lost, key=lambda row: (row.metal, row.cause)):
        mg = sum(row.mg for row in group)
        if mg:
            kept.append(Fate(metal, "loss", mg, cause=cause))
    return sorted(kept, key=lambda row: (COLUMNS.index(row.metal), row.fate, -row.mg, row.lot))


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
