"""Solutions: what an accepted assay gave a solution is what its figures say, and another person accepted it (I12)."""

from collections import defaultdict

from custody.calc.rounding import half_even
from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows, stream
from custody.terms import COLUMNS, METALS, PPM


def check(found: Check) -> None:
    """Notes a solution with other figures than its assay, and an assay accepted by who recorded it."""
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
