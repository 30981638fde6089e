"""Worksheets as they are read and reckoned: pieces with the readings that count, results, and what waits."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction

from django.db.models import BooleanField, Exists, F, Func, OuterRef, Prefetch, Q, QuerySet, Value

from custody.calc import worksheet as calc
from custody.calc.high_purity import Impurity
from custody.calc.repeatability import Repeatability, from_pairs
from custody.calc.uncertainty import display, within
from custody.calc.worksheet_results import Result, Sheet, results
from custody.models import (
    Determination,
    Edge,
    Indication,
    Lot,
    Parcel,
    ProofMetal,
    RepeatOrder,
    Scale,
    ScaleCheck,
    ScaleCheckLoad,
    User,
    Worksheet,
    WorksheetPiece,
    WorksheetReading,
)
from custody.models.worksheets import OF_LOTS
from custody.queries import scope
from custody.queries.amendments import as_amended
from custody.terms import METALS, PPM, Form, Kind, Method, ReadingOf

#: So many earlier worksheets of a method are asked what the house's duplicates show.
REMEMBERED = 40


def worksheets(viewer: User) -> QuerySet[Worksheet]:
    """Worksheets with their place, balance and who opened them, the latest first."""
    return scope.worksheets(viewer).select_related("place", "balance", "by").order_by("-id")


def open_worksheets(viewer: User) -> QuerySet[Worksheet]:
    """Worksheets with a lot that is not reported yet."""
    reported = _reported(Determination) | _reported(RepeatOrder)
    waiting = WorksheetPiece.objects.filter(worksheet=OuterRef("pk"), role__in=OF_LOTS).exclude(reported)
    return worksheets(viewer).filter(Exists(waiting))


def _reported(model) -> Q:
    return Q(Exists(model.objects.filter(worksheet=OuterRef("worksheet"), lot=OuterRef("lot"))))


def repeats_waiting(viewer: User) -> QuerySet[RepeatOrder]:
    """Orders to assay again that no later determination of the lot has met, the oldest first."""
    met = Determination.objects.filter(lot=OuterRef("lot"), at__gt=OuterRef("at"), repeat=None)
    seen = RepeatOrder.objects.filter(~Exists(met), lot__in=scope.lots(viewer))
    return seen.select_related("lot", "worksheet", "determination", "by").order_by("id")


def proof_metals() -> QuerySet[ProofMetal]:
    """The register of proof metals."""
    return ProofMetal.objects.order_by("-active", "code")


def worked_on_by(person: User) -> Q:
    """Of a determination: whether the person worked on what it rests on, and so does not accept it (I12).

    That is who weighed a piece of it, and who determined or handed in a result that a settled assay came of.
    """
    said = {"output_field": BooleanField()}
    return Q(Func(F("pk"), Value(person.pk), function="custody_worked_on", **said)) | Q(
        Func(F("pk"), Value(person.pk), function="custody_handed_in", **said)
    )


def worked_on(determination: Determination, person: User) -> bool:
    """Whether the person worked on what a determination rests on."""
    return Determination.objects.filter(worked_on_by(person), pk=determination.pk).exists()


@dataclass(frozen=True, slots=True)
class Book:
    """A worksheet with everything on it. ``rows``: its pieces; ``latest``: the readings that count, by piece and cell.

    ``replaced`` are readings that a later one replaced. ``seen`` is the number of the last reading.
    """

    worksheet: Worksheet
    rows: tuple[WorksheetPiece, ...]
    latest: Mapping[tuple, WorksheetReading]
    replaced: tuple[WorksheetReading, ...]
    sheet: Sheet

    @property
    def seen(self) -> int:
        """The last reading that a page of this worksheet shows."""
        return max((one.pk for one in (*self.latest.values(), *self.replaced)), default=0)

    @property
    def lots(self) -> list[Lot]:
        """The lots that the worksheet speaks of, in the order of the tray."""
        return list({row.lot_id: row.lot for row in self.rows if row.lot_id}.values())

    def results(self, agreed_ppm: Mapping[str, int] | None = None) -> dict[str, list[Result]]:
        """What the worksheet says of each lot, by number."""
        return {lot.number: results(self.sheet, lot.number, agreed_ppm) for lot in self.lots}


def book_of(worksheet: Worksheet, *, own: bool = True) -> Book:
    """A worksheet as it stands; ``own`` False leaves the house's experience away."""
    rows = tuple(worksheet.pieces.select_related("lot", "sample", "proof_metal").order_by("position"))
    readings = list(
        WorksheetReading.objects.filter(piece__worksheet=worksheet).select_related("by", "piece").order_by("id")
    )
    latest = that_count(readings)
    kept = {one.pk for one in latest.values()}
    weighing, words = _weighing_ug2(worksheet.balance, readings)
    sheet = Sheet(
        Method(worksheet.method),
        worksheet.metal,
        tuple(_piece(row, latest) for row in rows),
        weighing,
        words,
        own_repeatability(worksheet) if own else {},
    )
    return Book(worksheet, rows, latest, tuple(one for one in readings if one.pk not in kept), sheet)


def that_count(readings: Iterable[WorksheetReading]) -> dict[tuple, WorksheetReading]:
    """Of readings in the order in which they were made, the one of each cell that counts: the last one."""
    return {(one.piece_id, one.of, one.element): one for one in readings}


def _piece(row: WorksheetPiece, latest: Mapping[tuple, WorksheetReading]) -> calc.Piece:
    ours = [one for (piece, _, _), one in latest.items() if piece == row.pk]
    metal = row.proof_metal
    return calc.Piece(
        position=row.position,
        role=calc.PieceRole(row.role),
        lot=row.lot.number if row.lot else "",
        pure=calc.Pure(metal.code, metal.metal, metal.purity_ppm, metal.uncertainty_ppm) if metal else None,
        readings={ReadingOf(one.of): one.value for one in ours if one.of != ReadingOf.IMPURITY},
        impurities=tuple(
            Impurity(one.element, one.value, one.undetected) for one in ours if one.of == ReadingOf.IMPURITY
        ),
        discarded=next((one.reason for one in ours if one.of == ReadingOf.DISCARDED), ""),
    )


def _weighing_ug2(balance: Scale | None, readings: list[WorksheetReading]) -> tuple[Fraction, str]:
    """The variance of one weighing: the display's step at zero and at the load, and what its checks found it off."""
    if balance is None or not readings:
        return Fraction(0), ""
    first, last = readings[0].at - timedelta(days=1), readings[-1].at
    checks = ScaleCheck.objects.filter(scale=balance, passed=True, at__gt=first, at__lte=last)
    loads = ScaleCheckLoad.objects.filter(check_of__in=checks)
    off = max((abs(load.error_ug) for load in loads), default=0)
    words = f"{balance.code}: step {balance.d_ug} µg, found {off} µg off at its check"
    return 2 * display(balance.d_ug) + within(off), words


def own_repeatability(worksheet: Worksheet) -> dict[str, Repeatability]:
    """What duplicates of earlier reported worksheets of this method and metal show, by metal; accepted or not."""
    earlier = list(
        Worksheet.objects.filter(method=worksheet.method, metal=worksheet.metal, pk__lt=worksheet.pk)
        .filter(Q(determinations__isnull=False) | Q(repeats__isnull=False))
        .distinct()
        .order_by("-id")
        .prefetch_related(
            Prefetch("pieces", WorksheetPiece.objects.select_related("lot", "proof_metal").order_by("position")),
            Prefetch("pieces__readings", WorksheetReading.objects.order_by("id")),
        )[:REMEMBERED]
    )
    pairs: dict[str, list[tuple[int, int]]] = {}
    for one in earlier:
        rows = list(one.pieces.all())
        latest = that_count(reading for row in rows for reading in row.readings.all())
        sheet = Sheet(Method(one.method), one.metal, tuple(_piece(row, latest) for row in rows))
        for lot in {row.lot.number for row in rows if row.lot}:
            for result in results(sheet, lot):
                if len(result.pieces) > 1:
                    pairs.setdefault(result.metal, []).append((result.pieces[0].ppm, result.pieces[1].ppm))
    return {metal: from_pairs(found) for metal, found in pairs.items()}


@dataclass(frozen=True, slots=True)
class Expected:
    """What a lot may hold before it is assayed: gold and silver in ppm, and who says so. Never a result."""

    ppm: tuple[int, int]
    words: str


def expected(lots: Iterable[Lot]) -> dict[str, Expected]:
    """By lot number: what the book, an earlier determination, an indication or the declaration says, in this order."""
    lots = list(lots)
    found: dict[str, Expected] = {}
    for one in as_amended(Parcel.objects.filter(lot__in=lots).select_related("lot")):
        if one.declared_au_ppm is None:
            continue
        found[one.lot.number] = _sane(one.declared_au_ppm, one.declared_ag_ppm or 0, "as declared")
    for one in Indication.objects.filter(lot__in=lots, metal="Au").select_related("lot").order_by("id"):
        found[one.lot.number] = _sane((one.low_ppm + one.high_ppm) // 2, 0, one.method)
    for one in Determination.objects.filter(lot__in=lots).select_related("lot").order_by("id"):
        found[one.lot.number] = _sane(one.au_ppm, one.ag_ppm, f"determination {one.number}")
    for lot in lots:
        if lot.valued and any(lot.metals_mg):  # what a clean-out gathered counts as valued, and nothing is known
            gold, silver = (metal * PPM // lot.gross_mg for metal in lot.metals_mg[:2])
            found[lot.number] = _sane(gold, silver, "the book")
    return found


def _sane(gold: int, silver: int, words: str) -> Expected:
    return Expected((gold, min(silver, PPM - gold)), words)


def sampled(lot: Lot) -> tuple[Lot, Lot | None]:
    """The lot that a scanned label speaks of, and the sample itself: a sample speaks of the lot it was drawn from."""
    if lot.form != Form.SAMPLE:
        return lot, None
    of = lot
    while of.form == Form.SAMPLE:
        edge = Edge.objects.filter(child=of, operation__kind=Kind.SAMPLE, operation__reversed_by__isnull=True).first()
        if edge is None:
            break
        of = Lot.objects.get(pk=edge.parent_id)
    return of, lot


def earlier_figures(lots: Iterable[Lot], worksheet: Worksheet) -> dict[str, Determination]:
    """By lot number: the latest other determination of the lot from a worksheet that nobody turned down."""
    seen = Determination.objects.filter(lot__in=list(lots), worksheet__isnull=False, repeat=None)
    seen = seen.exclude(worksheet=worksheet).select_related("lot", "worksheet").order_by("id")
    return {one.lot.number: one for one in seen}


def reported(worksheet: Worksheet) -> dict[str, Determination | RepeatOrder]:
    """By lot number: the determination or the order to assay again that the worksheet led to."""
    orders = {
        one.lot.number: one for one in worksheet.repeats.filter(determination=None).select_related("lot", "worksheet")
    }
    return orders | {one.lot.number: one for one in worksheet.determinations.select_related("lot")}


def other_metals(results: list[Result]) -> list[str]:
    """The metals of account that these results say nothing of."""
    return [metal for metal in METALS if metal not in {result.metal for result in results}]
