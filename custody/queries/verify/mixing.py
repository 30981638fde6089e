"""I7, no blind mixing: whether lots might be merged, and what their mixture is, recomputed from attributes."""

from datetime import datetime
from typing import NamedTuple

from custody.queries.verify.findings import Check
from custody.queries.verify.lots import Lot
from custody.queries.verify.raw import Entry, Line, Made, rows
from custody.terms import Basis, Clearance, CustodyModel, Form, Kind, Source

#: From the strictest to the loosest; a mixture is as loose as the loosest of its parts.
MODELS = [str(model) for model in CustodyModel]
NO_MIXING = {Kind.DISPATCH, Kind.VALUE, Kind.DIFFERENCE, Kind.RECEIVE, Kind.REVERSE}


#: What a clean-out gathered, and what was made of such a lot alone: without metal in the book, and never assayed. Where
#: one went in with others, or out of the gate.
_UNASSAYED = """
WITH RECURSIVE valued AS (
    SELECT v.lot_id, v.id FROM custody_movement v JOIN custody_operation o ON o.id = v.operation_id
     WHERE o.kind = 'value' AND v.side = 'out'
       AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id)
), gathered (lot_id) AS (
    SELECT m.lot_id FROM custody_operation o JOIN custody_movement m ON m.operation_id = o.id AND m.side = 'out'
     WHERE o.kind = 'clean out'
       AND NOT EXISTS (SELECT FROM custody_movement i WHERE i.operation_id = o.id AND i.side = 'in')
    UNION
    SELECT c.lot_id FROM gathered g JOIN custody_movement i ON i.lot_id = g.lot_id AND i.side = 'in'
      JOIN custody_operation o ON o.id = i.operation_id AND o.kind NOT IN ('value', 'difference', 'reverse')
      JOIN custody_movement c ON c.operation_id = o.id AND c.side = 'out' AND c.lot_id IS NOT NULL
     WHERE i.au_mg + i.ag_mg + i.pt_mg + i.pd_mg + i.cu_mg = 0
       AND NOT EXISTS (SELECT FROM valued v WHERE v.lot_id = g.lot_id AND v.id < i.id)
)
SELECT o.number, l.number FROM gathered g JOIN custody_movement i ON i.lot_id = g.lot_id AND i.side = 'in'
  JOIN custody_operation o ON o.id = i.operation_id AND o.kind NOT IN ('value', 'difference', 'reverse')
  JOIN custody_lot l ON l.id = g.lot_id
 WHERE i.au_mg + i.ag_mg + i.pt_mg + i.pd_mg + i.cu_mg = 0
   AND NOT EXISTS (SELECT FROM valued v WHERE v.lot_id = g.lot_id AND v.id < i.id)
   AND NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = o.id)
   AND (o.kind = 'dispatch' OR EXISTS (SELECT FROM custody_movement k
         WHERE k.operation_id = o.id AND k.side = 'in' AND k.id <> i.id))
"""


class Mixture(NamedTuple):
    """What a lot made of several others must be. A settlement since may have changed the owners of its parts."""

    receipt: int | None
    declared_origin: str
    custody_model: str
    pooled: bool
    clearance: frozenset[str]
    owners: frozenset[int | None]
    settled: bool


def mixture_of(lots: list[Lot], at: datetime, settled: set[int]) -> Mixture:
    """The mixture of these lots at this instant."""
    receipts = {lot.made.receipt for lot in lots}
    owners_moved = not receipts.isdisjoint(settled)
    declared = {lot.origin for lot in lots}
    states = [lot.clearances(at) for lot in lots]
    clearance = set()
    if all(Clearance.RELEASED in state for state in states):
        clearance.add(Clearance.RELEASED)
    if any(state != {Clearance.RELEASED} for state in states):
        clearance.add(Clearance.AWAITING)
    models = [lot.made.custody_model for lot in lots]
    return Mixture(
        receipts.pop() if len(receipts) == 1 else None,
        declared.pop() if len(declared) == 1 else "",
        max(models, key=lambda model: MODELS.index(model) if model in MODELS else -1),
        any(lot.made.pooled for lot in lots),
        frozenset(clearance),
        frozenset(lot.made.owner for lot in lots),
        owners_moved,
    )


def check(entry: Entry, lots: list[Lot], found: Check) -> None:
    """Notes a merge that was not allowed, and a held lot that was worked."""
    head = entry.head
    if head.kind in NO_MIXING or not lots:
        return
    found.checked += 1
    for lot in lots:
        if lot.clearances(head.at) == {Clearance.HELD}:
            found.breach(head.number, f"works lot {lot.number} while it was held")
    if len(lots) == 1 or _parcels_of_one_kind(lots, head.at):
        return
    for lot in lots:
        if not lot.valued:
            found.breach(head.number, f"mixes lot {lot.number} before it was valued")
        if Clearance.RELEASED not in lot.clearances(head.at):
            found.breach(head.number, f"mixes lot {lot.number} before it was released")
        if not _model_allows(lot, lots):
            found.breach(head.number, f"mixes lot {lot.number} against its custody model", model=lot.made.custody_model)


def check_gathered(found: Check) -> None:
    """Notes what a clean-out gathered and what was mixed or sent away before anybody assayed it."""
    for operation, lot in rows(_UNASSAYED):
        found.breach(operation, f"mixes or sends lot {lot}, which was gathered and never assayed")


def check_made(entry: Entry, line: Line, made: Made, mixture: Mixture | None, found: Check) -> None:
    """Notes where a new lot is not what its making makes it."""
    where = f"lot {made.number} of {entry.head.number}"
    if made.form == Form.IN_PROCESS:
        found.expect(made.run, entry.head.run, where, "the run of a vessel's content")
    if made.owner is not None and entry.head.basis == Basis.PURCHASE:
        found.breach(where, "bought metal is the house's", owner=made.owner)
    if made.owner is not None and entry.head.source == Source.LIVE and entry.head.kind == Kind.RECEIVE:
        # A past record and a program may name another owner; a settlement since may have passed the title.
        found.expect(made.owner, entry.head.party, where, "toll metal belongs to who brought it")
    if entry.head.kind == Kind.RECEIVE:
        found.expect(made.pooled, False, where, "a parcel is not pooled")
        found.expect(made.receipt, entry.id, where, "a parcel's receipt")
        if made.declared is None:
            found.breach(where, "a parcel says what was declared")
        elif _words(made.declared) != _words(made.declared_origin):
            found.breach(where, "declared origin", stored=made.declared_origin, recomputed=made.declared)
    elif mixture:
        stored = (made.receipt, made.declared_origin, made.custody_model)
        recomputed = (mixture.receipt, mixture.declared_origin, mixture.custody_model)
        found.expect(stored, recomputed, where, "receipt, declared origin and custody model of a mixture")
        if made.owner is not None and not mixture.owners <= {made.owner, None}:
            found.breach(where, "the owner of a mixture is that of its parts", stored=made.owner)
        pooled = mixture.pooled or len(mixture.owners) > 1
        if not mixture.settled or mixture.pooled:
            found.expect(made.pooled, pooled, where, "pooled when its parts were, or of several owners")


def _parcels_of_one_kind(lots: list[Lot], at: datetime) -> bool:
    first = lots[0]
    alike = {(lot.made.receipt, lot.origin, lot.made.pooled) for lot in lots}
    common = frozenset.intersection(*(lot.clearances(at) for lot in lots))
    return len(alike) == 1 and first.made.receipt is not None and bool(common)


def _model_allows(lot: Lot, lots: list[Lot]) -> bool:
    if lot.made.custody_model == CustodyModel.IDENTITY:
        return False
    if lot.made.custody_model != CustodyModel.SEGREGATED:
        return True
    return all(other.made.custody_model == CustodyModel.SEGREGATED and other.origin == lot.origin for other in lots)


def _words(declared: str) -> list[str]:
    return [word for word in declared.split("|") if word]
