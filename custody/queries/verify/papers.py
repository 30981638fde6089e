"""Around the book: bars (I6), settlements and accounts (I9), documents (I10), separated duties (I12)."""

import hashlib
from collections import defaultdict
from decimal import Decimal

from custody.calc.apportion import largest_remainder
from custody.calc.rounding import down, half_even
from custody.queries.attachments import path_of as attachment_path
from custody.queries.papers import path_of
from custody.queries.verify.findings import Check, Findings
from custody.queries.verify.raw import rows, stream
from custody.terms import COLUMNS, PPM, Form, Source

#: Every run beside the charges that made it what it is: its content is of the last one that stands.
_RUNS = """
SELECT r.id, r.number, l.gross_mg, r.finished_by_id, o.kind = 'charge' AND o.run_id = r.id AS opening,
       f.run_id = r.id AS ending,
       r.content_id = (SELECT m.lot_id FROM custody_operation c
                         JOIN custody_movement m ON m.operation_id = c.id AND m.side = 'out'
                        WHERE c.run_id = r.id AND c.kind = 'charge' AND (c.id = r.opened_by_id
                              OR NOT EXISTS (SELECT FROM custody_operation x WHERE x.reverses_id = c.id))
                        ORDER BY c.id DESC LIMIT 1)
       AND r.vessel_id = (SELECT m.place_id FROM custody_movement m
                           WHERE m.operation_id = r.opened_by_id AND m.side = 'out' LIMIT 1) AS stands
  FROM custody_run r LEFT JOIN custody_lot l ON l.id = r.content_id
  LEFT JOIN custody_operation o ON o.id = r.opened_by_id
  LEFT JOIN custody_operation f ON f.id = r.finished_by_id
"""


def check(findings: Findings) -> None:
    """Examines everything that hangs on the ledger."""
    _contents(findings["I4"])
    _bars(findings["I6"])
    _settlements(findings["I9"])
    _accounts(findings["I9"])
    _documents(findings["I10"])
    _attachments(findings["I10"])
    _addressees(findings["I10"])
    _duties(findings["I12"])
    _accepted_assays(findings["I12"])


def _contents(found: Check) -> None:
    """What is in a vessel is the content of that vessel's open run."""
    for lot, number, run, content, finished, vessel, place in stream(
        "SELECT l.id, l.number, r.number AS run, r.content_id, r.finished_by_id, r.vessel_id, l.place_id"
        " FROM custody_lot l LEFT JOIN custody_run r ON r.id = l.run_id WHERE l.form = 'in process' AND l.gross_mg > 0"
    ):
        found.checked += 1
        if (content, finished, vessel) != (lot, None, place):
            found.breach(f"lot {number}", "the content of the open run of its vessel", run=run)
    for run, number, gross, finished, opening, ending, stands in stream(_RUNS):
        if not stands:
            found.breach(
                f"run {number}", "its content is that of its last charge, its vessel that of its first", id=run
            )
        if finished is None and not gross:
            found.breach(f"run {number}", "an open run has a content", id=run)
        if not opening or (finished is not None and not ending):
            found.breach(f"run {number}", "opened by its charge, ended by its own operation", id=run)


def _bars(found: Check) -> None:
    standing: dict[tuple, str] = {}
    stamped: dict[tuple, list[tuple[int, int | None]]] = defaultdict(list)
    for bar, mark, serial, year, replaces, cancelled, lot, form, day, reversal in stream(
        "SELECT b.id, b.mark, b.serial, b.year, b.replaces_id, b.cancelled_by_id, l.number, l.form, o.day,"
        " r.id AS reversal FROM custody_bar b LEFT JOIN custody_lot l ON l.id = b.lot_id"
        " LEFT JOIN custody_operation o ON o.id = l.created_by_id"
        " LEFT JOIN custody_operation r ON r.reverses_id = o.id"
    ):
        found.checked += 1
        where = f"bar {mark} {serial} {year} (lot {lot})"
        stamp = (mark, serial, year)
        if form != Form.BAR:
            found.breach(where, "a stamp is on a bar", form=form)
        if day is not None and day.year != year:
            found.breach(where, "the year is that of the cast", stored=year, recomputed=day.year)
        found.expect(cancelled, reversal, where, "cancelled by the reversal of its cast, and only by it")
        earlier = [known for known, _ in stamped[stamp]]
        found.expect(replaces, earlier[-1] if earlier else None, where, "names the cancelled bar that it replaces")
        if cancelled is None and stamp in standing:
            found.breach(where, f"the same stamp as lot {standing[stamp]}")
        if cancelled is None:
            standing[stamp] = lot
        stamped[stamp].append((bar, cancelled))


def _settlements(found: Check) -> None:
    lines = defaultdict(list)
    for _, settlement, *line in stream(
        "SELECT id, settlement_id, metal, content_mg, payable_mg, retained_mg, returned_mg, accountability_ppm, amount"
        " FROM custody_settlementline"
    ):
        lines[settlement].append(line)
    charged = dict(rows("SELECT settlement_id, sum(amount) FROM custody_settlementcharge GROUP BY settlement_id"))
    standing: dict[int, str] = {}
    receipts = {}
    corrected = {corrects for (corrects,) in rows("SELECT corrects_id FROM custody_settlement WHERE corrects_id > 0")}
    for settlement, number, receipt, corrects, charges, total, party, delivered_by in stream(
        "SELECT s.id, s.number, s.receipt_id, s.corrects_id, s.charges, s.total, s.party_id, o.party_id AS delivered_by"
        " FROM custody_settlement s LEFT JOIN custody_operation o ON o.id = s.receipt_id AND o.kind = 'receive'"
    ):
        found.checked += 1
        amounts = _settled_lines(number, lines.pop(settlement, []), found)
        if amounts + charges != total or charged.pop(settlement, 0) != charges:
            found.breach(number, "the amounts and charges sum to the total", total=str(total))
        if party != delivered_by:
            found.breach(number, "settled with the party that delivered")
        if corrects is not None and receipts.get(corrects) != receipt:
            found.breach(number, "corrects a statement of the same receipt")
        receipts[settlement] = receipt
        if settlement not in corrected:
            if receipt in standing:
                found.breach(number, f"stands beside {standing[receipt]} for one receipt")
            standing[receipt] = number
    for settlement in [*lines, *charged]:
        found.breach(f"settlement {settlement}", "lines without a statement")


def _settled_lines(number: str, lines: list[list], found: Check) -> Decimal:
    """The sum of the amounts; each line sums, and owes what was agreed of its content, rounded down."""
    for metal, content, payable, retained, returned, ppm, _ in lines:
        if payable + retained + returned != content or min(payable, returned) < 0:
            found.breach(number, f"{metal}: payable + retained + returned = settled content", content=content)
        found.expect(payable + returned, down(content * ppm, PPM), number, f"{metal}: the agreed share of the content")
    return sum((line[-1] for line in lines), Decimal(0))


def _accounts(found: Check) -> None:
    sums: dict[int, int] = defaultdict(int)
    for entry, account, mg, sources in stream(
        "SELECT id, account_id, mg, num_nonnulls(operation_id, settlement_id) AS sources FROM custody_accountentry"
    ):
        found.checked += 1
        sums[account] += mg
        if sums[account] < 0:
            found.breach(f"account {account} entry {entry}", "the account goes below zero", balance=sums[account])
        if sources != 1:
            found.breach(f"account {account} entry {entry}", "made by one operation or one settlement")
    for account, party, metal, balance in stream(
        "SELECT a.id, p.code, a.metal, a.balance_mg FROM custody_metalaccount a"
        " LEFT JOIN custody_party p ON p.id = a.party_id"
    ):
        found.checked += 1
        found.expect(balance, sums.pop(account, 0), f"{metal} account of {party}", "balance is the sum of its entries")
    for account in sums:
        found.breach(f"account {account}", "entries without an account")
    for (entry,) in rows(
        "SELECT e.id FROM custody_accountentry e JOIN custody_metalaccount a ON a.id = e.account_id"
        " LEFT JOIN custody_settlement s ON s.id = e.settlement_id"
        " LEFT JOIN custody_operation o ON o.id = e.operation_id"
        " WHERE a.party_id <> s.party_id OR (o.kind = 'dispatch' AND a.party_id <> o.party_id)"
    ):
        found.breach(f"entry {entry}", "on the account of the party that it is about")


def _documents(found: Check) -> None:
    for document, title, sha256, size in stream("SELECT id, title, sha256, size FROM custody_document"):
        found.checked += 1
        where = f"document {document} ({title})"
        try:
            content = path_of(sha256).read_bytes()
        except OSError:
            found.breach(where, "the file is missing", sha256=sha256)
            continue
        if (hashlib.sha256(content).hexdigest(), len(content)) != (sha256, size):
            found.breach(where, "the file is not the one that was issued", sha256=sha256)


def _attachments(found: Check) -> None:
    """Every attachment has its file, unchanged; it hangs on a receipt, or on one parcel of that receipt."""
    for attachment, title, sha256, size, kind, receipt, created_by in stream(
        "SELECT a.id, a.title, a.sha256, a.size, o.kind, a.receipt_id, l.created_by_id FROM custody_attachment a"
        " LEFT JOIN custody_operation o ON o.id = a.receipt_id LEFT JOIN custody_lot l ON l.id = a.lot_id"
    ):
        found.checked += 1
        where = f"attachment {attachment} ({title})"
        if kind != "receive" or created_by not in (None, receipt):
            found.breach(where, "attached to a receipt, or to one of its parcels")
        try:
            content = attachment_path(sha256).read_bytes()
        except OSError:
            found.breach(where, "the file is missing", sha256=sha256)
            continue
        if (hashlib.sha256(content).hexdigest(), len(content)) != (sha256, size):
            found.breach(where, "the file is not the one that was attached", sha256=sha256)


def _addressees(found: Check) -> None:
    """Whoever is named on a paper may download it: it is the party of what the paper is about."""
    for document, title in rows(
        "SELECT d.id, d.title FROM custody_document d LEFT JOIN custody_operation o ON o.id = d.operation_id"
        " LEFT JOIN custody_settlement s ON s.id = d.settlement_id"
        " WHERE d.party_id <> coalesce(s.party_id, o.party_id)"
    ):
        found.breach(f"document {document} ({title})", "made out to the party that it is about")


def _duties(found: Check) -> None:
    for _, number, source, by, countersigned, at, meaning, over in stream(
        "SELECT id, number, source, by_id, countersigned_by_id, countersigned_at, countersign_meaning, over_tolerance"
        " FROM custody_operation"
    ):
        found.checked += 1
        if countersigned == by:
            found.breach(number, "countersigned by who recorded it", person=by)
        if (countersigned is None, countersigned is None) != (at is None, meaning == ""):
            found.breach(number, "a countersignature has a name, a time and a meaning")
        if over and countersigned is None and source != Source.HISTORY:
            found.breach(number, "over its tolerance without a countersignature")
    for acceptance, number in rows(
        "SELECT a.id, d.number FROM custody_acceptance a LEFT JOIN custody_determination d"
        " ON d.id = a.determination_id WHERE d.by_id IS NULL OR d.by_id = a.by_id"
    ):
        found.breach(f"acceptance {acceptance} of determination {number}", "accepted by who recorded it")
    for (number,) in rows("SELECT number FROM custody_settlement WHERE approved_by_id = prepared_by_id"):
        found.breach(number, "approved by who prepared it")


def _accepted_assays(found: Check) -> None:
    """A live valuation gives exactly what the accepted determination says: gross × ppm, half to even, once."""
    for _, number, live, source, assay_lot, lot, gross, *figures in stream(
        "SELECT o.id, o.number, o.acceptance_id IS NOT NULL AS live, o.source, d.lot_id AS assayed, m.lot_id,"
        " m.gross_mg, d.au_ppm, d.ag_ppm, d.pt_ppm, d.pd_ppm, d.cu_ppm, m.au_mg, m.ag_mg, m.pt_mg, m.pd_mg, m.cu_mg"
        " FROM custody_operation o"
        " LEFT JOIN LATERAL (SELECT * FROM custody_movement m WHERE m.operation_id = o.id AND m.side = 'out'"
        "   ORDER BY m.line LIMIT 1) m ON true"
        " LEFT JOIN custody_acceptance a ON a.id = o.acceptance_id"
        " LEFT JOIN custody_determination d ON d.id = a.determination_id WHERE o.kind = 'value'"
        " AND NOT EXISTS (SELECT FROM custody_solutionacceptance s WHERE s.operation_id = o.id)"
    ):
        if source != Source.LIVE:
            continue
        found.checked += 1
        if not live or assay_lot is None or assay_lot != lot:
            found.breach(number, "valued by an accepted assay of the same lot")
            continue
        for column, fine, mg in zip(COLUMNS[1:], _fine(gross, figures[:5]), figures[5:], strict=True):
            found.expect(mg, fine, number, f"{column} by the accepted assay")


def _fine(gross: int, ppm: list[int]) -> tuple[int, ...]:
    """Metals of a gross weight; where all is metal and each was rounded up, by largest remainder within the gross."""
    fine = tuple(half_even(gross * part, PPM) for part in ppm)
    return fine if sum(fine) <= gross else largest_remainder(gross, [*ppm, PPM - sum(ppm)])[:5]
