"""Solutions (I12): what an accepted assay gave one is what its figures say, another person accepted it, and water left
only within its permit."""

from collections import defaultdict

from custody.calc.rounding import half_even
from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows, stream
from custody.terms import COLUMNS, METALS, PPM

_DISCHARGED = """
SELECT o.number, o.day, o.recorded_at, l.number,
       (SELECT s.id FROM custody_solutionacceptance a JOIN custody_solutionassay s ON s.id = a.assay_id
          JOIN custody_movement v ON v.operation_id = a.operation_id AND v.side = 'out' AND v.lot_id = m.lot_id
         WHERE s.lot_id = m.lot_id AND v.id < m.id
           AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = a.operation_id)
         ORDER BY v.id DESC LIMIT 1)
  FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id AND m.side = 'in'
  JOIN custody_lot l ON l.id = m.lot_id
 WHERE o.kind = 'discharge' AND o.source <> 'history'
   AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id)
"""
_KEPT_BACK = """
SELECT o.number, m.side, m.what FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id
 WHERE o.kind = 'discharge' AND o.source <> 'history' AND m.side <> 'in'
   AND NOT (m.side = 'loss' AND m.what = 'effluent')
"""
_POURED_AWAY = """
SELECT o.number FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id
 WHERE o.source = 'live' AND o.kind NOT IN ('discharge', 'clean out', 'value', 'reverse') AND m.side = 'loss'
   AND m.what = 'effluent' AND greatest(m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg) > 0
"""


def check(found: Check) -> None:
    """Notes a solution with other figures than its assay, one accepted by who recorded it, water past its permit."""
    figures: dict[int, dict[str, int]] = defaultdict(dict)
    for _, assay, substance, ug_l in stream("SELECT id, assay_id, substance, ug_l FROM custody_solutionfigure"):
        figures[assay][substance] = ug_l
    for assay, number, lot, volume, density, recorder, acceptor, operation, by, kind, to_lot, *given in rows(
        "SELECT s.id, s.number, s.lot_id, s.volume_ml, s.density_mg_ml, s.by_id, a.by_id, o.number, o.by_id, o.kind,"
        " m.lot_id, m.gross_mg, m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg FROM custody_solutionacceptance a"
        " JOIN custody_solutionassay s ON s.id = a.assay_id LEFT JOIN custody_operation o ON o.id = a.operation_id"
        " LEFT JOIN LATERAL (SELECT * FROM custody_movement m WHERE m.operation_id = o.id AND m.side = 'out'"
        "   ORDER BY m.line LIMIT 1) m ON true"
    ):
        found.checked += 1
        if (kind, to_lot, by) != ("value", lot, acceptor):
            found.breach(f"assay {number}", "accepted by the valuation of its own solution", operation=operation)
            continue
        if recorder == acceptor:
            found.breach(f"assay {number}", "accepted by who recorded it")
        holds = (volume * density, *(half_even(volume * figures[assay].get(metal, 0), PPM) for metal in METALS))
        for column, mg, recomputed in zip(COLUMNS, given, holds, strict=True):
            found.expect(mg, recomputed, f"assay {number}", f"{column} by its volume and figures")
    _water(found, figures)


def _water(found: Check, figures: dict[int, dict[str, int]]) -> None:
    """Every discharge beside the limits that stood when it was recorded, the latest of each substance."""
    acidity = dict(rows("SELECT id, ph_centi FROM custody_solutionassay"))
    limits = rows("SELECT substance, valid_from, set_at, least, most FROM custody_effluentlimit ORDER BY 2, id")
    for operation, day, recorded_at, lot, assay in rows(_DISCHARGED):
        found.checked += 1
        where = f"discharge {operation}"
        standing = {what: (least, most) for what, since, set_at, least, most in limits
                    if since <= day and set_at <= recorded_at}  # fmt: skip
        if assay is None or not standing:
            found.breach(where, "water left assayed and accepted, under limits that stood", lot=lot)
            continue
        for substance, (least, most) in standing.items():
            measured = acidity[assay] if substance == "pH" else figures[assay].get(substance)
            if measured is None or measured > most or (least is not None and measured < least):
                found.breach(where, f"{substance} within its limit", lot=lot, found=measured, least=least, most=most)
    for (operation,) in rows(_POURED_AWAY):
        found.breach(operation, "metal left with water by no discharge")
    for operation, side, what in rows(_KEPT_BACK):
        found.breach(f"discharge {operation}", "all of it left as effluent", side=side, cause=what)
