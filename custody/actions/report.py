"""What a worksheet says of its lots, reported: a determination, or an order to assay again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._lock_worksheet import lock_worksheet
from custody.actions._numbers import next_number
from custody.calc.fineness import format_per_mille
from custody.calc.worksheet_results import Result, words_of
from custody.errors import Conflict, Refusal
from custody.models import Determination, Lot, RepeatOrder, User, Worksheet
from custody.queries.worksheets import Book, book_of, earlier_figures, other_metals, reported
from custody.roles import Verb
from custody.terms import METALS, PPM


@dataclass(frozen=True, slots=True)
class Said:
    """What the analyst adds for one lot: metals of other assays (ppm), limits agreed (ppm), a remark.

    A metal left out is taken from the lot's latest worksheet that found it; zero says that there is none.
    """

    lot: str
    others: Mapping[str, int] = field(default_factory=dict)
    agreed_ppm: Mapping[str, int] = field(default_factory=dict)
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Report:
    """What came of a report: determinations that wait for a second person, and lots to be assayed again."""

    determinations: tuple[Determination, ...]
    repeats: tuple[RepeatOrder, ...]


def report(
    *, worksheet: Worksheet, lots: Sequence[Said], seen: int, at: datetime, by: User, request_key: UUID
) -> Report:
    """Reports lots of a worksheet, all of them or none: the figures are reckoned here, never taken from a form.

    Parallel results that agree become a determination; the others an order to assay again. ``seen`` is the last
    reading that the person saw. The same form sent twice reports once. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.DETERMINE)
    if not lots:
        raise Refusal("Choose at least one lot to report.").at("lots")
    with _post.refusals(), transaction.atomic(durable=True):
        lock_worksheet(worksheet)
        done = reported(worksheet)
        if sent := _sent_before(done, lots, request_key):
            return sent
        book = book_of(worksheet)
        if book.seen != seen:
            raise Conflict("Readings came in since this page was opened. Look at the results, then report them.")
        made = [_report_lot(book, said, done, at=at, by=by, request_key=request_key) for said in lots]
    flat = [one for several in made for one in several]
    return Report(
        tuple(one for one in flat if isinstance(one, Determination)),
        tuple(one for one in flat if isinstance(one, RepeatOrder)),
    )


def _sent_before(done: Mapping, lots: Sequence[Said], request_key: UUID) -> Report | None:
    """What this very form reported before. A determination remembers its form; an order to repeat needs none."""
    found = [done.get(said.lot) for said in lots]
    if not all(found):
        return None
    determinations = [one for one in found if isinstance(one, Determination)]
    if any(one.request_key != uuid5(request_key, one.lot.number) for one in determinations):
        return None
    return Report(tuple(determinations), tuple(one for one in found if isinstance(one, RepeatOrder)))


def _report_lot(
    book: Book, said: Said, done: Mapping, *, at: datetime, by: User, request_key: UUID
) -> list[Determination | RepeatOrder]:
    lot = next((lot for lot in book.lots if lot.number == said.lot), None)
    if lot is None:
        raise Refusal(f"Worksheet {book.worksheet.number} holds no lot {said.lot}.").at("lots")
    if said.lot in done:
        raise Conflict(f"Lot {said.lot} is reported from this worksheet already.").at("lots")
    results = book.results(said.agreed_ppm)[said.lot]
    again = [result for result in results if result.again]
    if again:
        return [_order(book.worksheet, lot, result, at=at, by=by) for result in again]
    for result in results:
        if not result.accepted:
            refusal = Refusal(f"Lot {said.lot}, {result.metal}: {result.verdict}")
            raise refusal.at(f"limit_{lot.pk}_{result.metal}")
    return [_determination(book, lot, results, said, at=at, by=by, request_key=request_key)]


def _order(worksheet: Worksheet, lot: Lot, result: Result, *, at: datetime, by: User) -> RepeatOrder:
    return RepeatOrder.objects.create(
        worksheet=worksheet,
        lot=lot,
        metal=result.metal,
        spread_ppm=result.spread_ppm,
        allowed_ppm=result.agreed.allowed_ppm if result.agreed else 0,
        sentence=f"{result.metal}: {result.verdict}",
        at=at,
        by=by,
    )


def _determination(
    book: Book, lot: Lot, results: list[Result], said: Said, *, at: datetime, by: User, request_key: UUID
) -> Determination:
    ppm = {result.metal: result.mean_ppm for result in results}
    expanded = {result.metal: result.expanded_ppb for result in results}
    lines = [words_of(result) for result in results]
    before = earlier_figures([lot], book.worksheet).get(lot.number)
    for metal in other_metals(results):
        typed = said.others.get(metal)
        if typed:
            ppm[metal] = typed
            lines.append(f"{metal} {format_per_mille(typed)} ‰: typed, from another assay.")
        elif typed is None and before and before.ppm[METALS.index(metal)]:
            ppm[metal] = before.ppm[METALS.index(metal)]
            expanded[metal] = before.expanded_ppb[METALS.index(metal)] if before.expanded_ppb else 0
            lines.append(
                f"{metal} {format_per_mille(ppm[metal])} ‰: from worksheet {before.worksheet} ({before.number})."
            )
    if sum(ppm.values()) > PPM:
        refusal = Refusal(f"Lot {lot.number}: the metals sum to more than the whole. Check the fineness of each.")
        typed = next((metal for metal in METALS if said.others.get(metal)), other_metals(results)[0])
        raise refusal.at(f"other_{lot.pk}_{typed}")
    samples = {row.sample for row in book.rows if row.lot_id == lot.pk}
    return Determination.objects.create(
        number=next_number("A", "determination", at),
        lot=lot,
        sample=samples.pop() if len(samples) == 1 else None,
        method=book.worksheet.method,
        expanded_ppb=[expanded.get(metal, 0) for metal in METALS],
        worksheet=book.worksheet,
        note="\n".join(filter(None, (*lines, said.remark.strip()))),
        at=at,
        by=by,
        request_key=uuid5(request_key, lot.number),
        **{f"{metal.lower()}_ppm": ppm.get(metal, 0) for metal in METALS},
    )
