"""I4 of what is packed: a bar lies in one closed box at most, and a closed box has one custodian and one place."""

from collections import defaultdict

from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows

_PACKED = """
SELECT b.number, upper(b.seal), b.at, o.at, l.number, l.gross_mg, l.custodian_id, l.place_id,
       EXISTS (SELECT FROM custody_bar r WHERE r.lot_id = l.id)
  FROM custody_box b LEFT JOIN custody_boxopening o ON o.box_id = b.id
  LEFT JOIN custody_boxbar x ON x.box_id = b.id LEFT JOIN custody_lot l ON l.id = x.lot_id ORDER BY b.id, x.position
"""


def check(found: Check) -> None:
    """Notes boxes without bars, that share a seal or a bar, or whose bars are not all in one place and one hand."""
    seals: dict[str, set[str]] = defaultdict(set)
    closed: dict[str, list[tuple]] = defaultdict(list)
    lies_in: dict[str, set[str]] = defaultdict(set)
    for number, seal, at, opened_at, lot, gross_mg, custodian, place, bar in rows(_PACKED):
        found.checked += 1
        seals[seal].add(number)
        if lot is None or not bar:
            found.breach(f"box {number}", "it holds bars with serials", lot=lot)
        if opened_at is None:
            closed[number].append((gross_mg, custodian, place))
            lies_in[lot].add(number)
        elif opened_at < at:
            found.breach(f"box {number}", "opened before it was packed", at=str(opened_at))
    for number, inside in closed.items():
        if len({standing[1:] for standing in inside if standing[0]}) > 1:
            found.breach(f"box {number}", "its bars are where its other bars are")
        if len({bool(standing[0]) for standing in inside}) > 1:
            found.breach(f"box {number}", "it leaves whole, or not at all")
    for lot, boxes in lies_in.items():
        if len(boxes) > 1:
            found.breach(f"lot {lot}", "lies in one closed box at most", boxes=sorted(boxes))
    for seal, boxes in seals.items():
        if len(boxes) > 1:
            found.breach(f"seal {seal}", "is used once", boxes=sorted(boxes))
