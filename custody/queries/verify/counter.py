"""I9 at the counter: what was bought was paid by its figures and is settled by that alone; a slip ends once."""

from collections import defaultdict
from decimal import Decimal

from custody.calc.purchase import amount
from custody.calc.refusals import Refused
from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows


def check(found: Check) -> None:
    """Notes a purchase that does not sum, that was settled too, and a slip that was entered and spoiled."""
    _purchases(found)
    for (number,) in rows(
        "SELECT s.number FROM custody_slip s JOIN custody_delivery d ON d.slip_id = s.id"
        " JOIN custody_spoiledslip p ON p.slip_id = s.id"
    ):
        found.breach(f"slip {number}", "is entered, and spoiled too")
    for number, first in rows(
        "SELECT o.number, r.number FROM custody_delivery d JOIN custody_operation o ON o.id = d.operation_id"
        " JOIN custody_operation r ON r.id = d.replaces_id"
        " WHERE NOT EXISTS (SELECT FROM custody_operation u WHERE u.reverses_id = r.id)"
    ):
        found.breach(number, "replaces a receipt that still stands", receipt=first)


def _purchases(found: Check) -> None:
    sums: dict[int, Decimal] = defaultdict(Decimal)
    for purchase, lot, received, *figures, paid in rows(
        "SELECT p.purchase_id, l.number, m.gross_mg, p.net_mg, p.indicated_ppm, p.price_per_g, p.payable_ppm, p.amount"
        " FROM custody_purchaseline p JOIN custody_lot l ON l.id = p.lot_id LEFT JOIN custody_movement m"
        " ON m.operation_id = p.purchase_id AND m.lot_id = l.id AND m.side = 'out'"
    ):
        found.checked += 1
        sums[purchase] += paid
        found.expect(figures[0], received, f"parcel {lot}", "bought by the weight received")
        try:
            found.expect(paid, amount(*figures), f"parcel {lot}", "the amount by its figures")
        except Refused as refused:
            found.breach(f"parcel {lot}", "bought by figures", error=refused.sentence)
    for purchase, number, basis, total, settlement in rows(
        "SELECT p.receipt_id, o.number, o.basis, p.total, (SELECT min(s.number) FROM custody_settlement s"
        " WHERE s.receipt_id = p.receipt_id) FROM custody_purchase p JOIN custody_operation o ON o.id = p.receipt_id"
    ):
        found.checked += 1
        found.expect(total, sums.pop(purchase, Decimal(0)), number, "the parcels sum to what was paid")
        if settlement:
            found.breach(number, "bought at the counter, and settled too", settlement=settlement)
        if basis != "purchase":
            found.breach(number, "bought, but not received as a purchase", basis=basis)
    for purchase in sums:
        found.breach(f"purchase {purchase}", "lines without a purchase")
