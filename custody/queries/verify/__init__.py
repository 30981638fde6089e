"""The whole book examined: every invariant recomputed from the raw rows, without PostgreSQL's own functions."""

from custody.queries.verify import (
    amendments,
    bars,
    boxes,
    cells,
    counter,
    exchanges,
    guards,
    mixing,
    papers,
    prices,
    solutions,
    vault,
    weighings,
)
from custody.queries.verify.findings import Check, Findings
from custody.queries.verify.heads import Heads
from custody.queries.verify.raw import entries, one_snapshot, rows, stream
from custody.queries.verify.replay import Replay
from custody.terms import COLUMNS, Cause

_RECOVERED = """
SELECT DISTINCT m.what FROM custody_movement m JOIN custody_operation o ON o.id = m.operation_id
 WHERE m.side = 'loss' AND m.what <> %s AND o.kind <> 'reverse'
   AND least(m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg) < 0
"""


def verify() -> Findings:
    """Examines the whole book as of one instant; nothing is written."""
    findings = Findings()
    with one_snapshot():
        reversed_ids = {undone for (undone,) in rows("SELECT reverses_id FROM custody_operation WHERE reverses_id > 0")}
        recovered = {cause for (cause,) in rows(_RECOVERED, [str(Cause.DIFFERENCE)])}
        settled = {receipt for (receipt,) in rows("SELECT receipt_id FROM custody_settlement")}
        amended = amendments.read()
        replay = Replay(findings, reversed_ids, recovered, settled, amended)
        heads = Heads(findings, replay.made_of)
        for entry in entries():
            if entry.head is None:
                findings["I3"].breach(f"operation {entry.id}", "movements without their operation")
                continue
            try:
                replay.record(entry)
            except (LookupError, ValueError, ArithmeticError, TypeError) as error:
                # Rows so damaged that they say nothing must not end the examination of the others.
                findings["I2"].breach(entry.head.number, "cannot be replayed", error=repr(error))
            heads.examine(entry)
        replay.finish()
        _compare_lots(replay, findings)
        mixing.check_gathered(findings["I7"])
        amendments.check(replay.lots, amended, findings["I7"])
        counter.check(findings["I9"])
        _compare_strays(findings)
        guards.check(findings["I3"])
        cells.check(findings["I3"])
        papers.check(findings)
        exchanges.check(findings["I12"])
        solutions.check(findings["I12"])
        prices.check(findings["I12"])
        bars.check(findings["I6"])
        weighings.check(findings["I4"])
        boxes.check(findings["I4"])
        vault.check(findings["I4"])
    return findings


def _compare_lots(replay: Replay, findings: Findings) -> None:
    """The lots as they stand in the book against the lots as their movements made them."""
    for lot, number, *stored in stream(
        "SELECT id, number, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg, valued, custodian_id, place_id, last_at,"
        " last_movement, content_movement, clearance FROM custody_lot"
    ):
        state = replay.lots.get(lot)
        findings["I2"].checked += 1
        if state is None:
            findings["I2"].breach(f"lot {number}", "no operation made this lot")
            continue
        amounts, (valued, custodian, place, last_at, last, content, clearance) = tuple(stored[:6]), stored[6:]
        where = f"lot {number}"
        if amounts != state.amounts:
            gaps = {name: a - b for name, a, b in zip(COLUMNS, amounts, state.amounts, strict=True) if a != b}
            findings["I2"].breach(where, "the book is what its movements make it", too_much_mg=gaps)
        findings["I2"].expect(valued, state.valued, where, "whether it is valued")
        findings["I4"].expect((custodian, place), (state.custodian, state.place), where, "custodian and place")
        if amounts[0] and (custodian is None or place is None):
            findings["I4"].breach(where, "mass without a custodian or a place")
        last_event = max([state.last_at, *(at for at, _ in state.cleared)])
        findings["I4"].expect(str(last_at), str(last_event), where, "the time of its last event")
        findings["I5"].expect(
            (last, content), (state.last_movement, state.content_movement), where, "its last movement and its content's"
        )
        if clearance not in ({state.cleared[-1][1]} if state.cleared else state.clearance):
            findings["I7"].breach(where, "its clearance is the last one given", stored=clearance)


def _compare_strays(findings: Findings) -> None:
    """Rows that name an operation or a lot which is not there."""
    for table, column, to in (
        ("vector", "operation_id", "operation"),
        ("origin", "operation_id", "operation"),
        ("originreceipt", "operation_id", "operation"),
        ("originreceipt", "origin_id", "origin"),
        ("handover", "lot_id", "lot"),
        ("weighing", "lot_id", "lot"),
        ("weighing", "scale_id", "scale"),
        ("clearanceevent", "lot_id", "lot"),
        ("parcel", "lot_id", "lot"),
        ("bar", "lot_id", "lot"),
        ("accountentry", "operation_id", "operation"),
        ("accountentry", "settlement_id", "settlement"),
    ):
        for (missing,) in rows(
            f"SELECT DISTINCT s.{column} FROM custody_{table} s LEFT JOIN custody_{to} t ON t.id = s.{column}"
            f" WHERE t.id IS NULL AND s.{column} IS NOT NULL LIMIT 100"
        ):
            findings["I3"].breach(f"custody_{table}", f"rows of a missing {to}", id=missing)


__all__ = ["Check", "Findings", "verify"]
