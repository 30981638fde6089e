"""The assay certificate, filled from an accepted determination and what lies behind it."""

from datetime import datetime

from custody.calc.refusals import Refused
from custody.calc.worksheet import COLUMNS, Piece
from custody.calc.worksheet_results import Result, corrections
from custody.documents.assay import AssayPaper, AssayPiece, AssayResult
from custody.documents.fill_receipt import house_of
from custody.documents.parts import Signature
from custody.models import Acceptance, Determination, Lot, Movement, Refinery, SampleSeal
from custody.queries.worksheets import Book, book_of
from custody.terms import METALS, Method, PieceRole, ReadingOf, Side

_WHAT = {PieceRole.SAMPLE: "portion", PieceRole.SILVER_SAMPLE: "portion, no silver added"}


def assay_paper(determination: Determination, *, copy_no: int, at: datetime) -> AssayPaper:
    """The lot as it was assayed and valued; the pieces and the arithmetic of its worksheet, if it has one."""
    lot, acceptance = determination.lot, determination.acceptance
    party = lot.receipt.party if lot.receipt else None
    book = book_of(determination.worksheet) if determination.worksheet else None
    return AssayPaper(
        house=house_of(Refinery.objects.get()),
        number=determination.number if copy_no == 1 else f"{determination.number}, copy {copy_no}",
        qr=lot.number,
        lot=lot.number,
        form=lot.get_form_display(),
        gross_mg=_valued_mg(lot, acceptance),
        receipt=lot.receipt.number if lot.receipt else "",
        party=party.name if party else "",
        party_code=party.code if party else "",
        party_address=tuple(party.address.splitlines()) if party else (),
        sample=determination.sample.number if determination.sample else "",
        seal=_seal(determination.sample),
        method=determination.method,
        results=tuple(_results(determination)),
        pieces=tuple(_pieces(book, lot.number)) if book else (),
        sentences=(*_corrections(book), *(line for line in determination.note.splitlines() if line.strip())),
        signatures=(
            Signature("Determined", str(determination.by), determination.at),
            Signature("Accepted", str(acceptance.by), acceptance.at),
        ),
        issued_at=at,
    )


def _valued_mg(lot: Lot, acceptance: Acceptance) -> int:
    """The gross that the accepted assay valued, not what is left of it now."""
    valued = Movement.objects.filter(operation__acceptance=acceptance, lot=lot, side=Side.OUT)
    return valued.values_list("gross_mg", flat=True).first() or lot.gross_mg


def _seal(sample: Lot | None) -> str:
    if sample is None:
        return ""
    later = SampleSeal.objects.filter(lot=sample).order_by("-id").values_list("seal", flat=True).first()
    drawn = getattr(sample, "sample", None)
    return later or (drawn.seal if drawn else "")


def _results(determination: Determination) -> list[AssayResult]:
    expanded = determination.expanded_ppb or [0] * len(METALS)
    figures = zip(METALS, determination.ppm, expanded, strict=True)
    return [AssayResult(metal, ppm, ppb or None) for metal, ppm, ppb in figures if ppm or ppb]


def _pieces(book: Book, lot: str) -> list[AssayPiece]:
    """The pieces of the lot and the proofs beside them, in the order of the tray."""
    results = _by_position(book.results()[lot])
    return [_piece(book, piece, results) for piece in book.sheet.pieces if piece.lot in ("", lot)]


def _by_position(results: list[Result]) -> dict[int, int]:
    return {piece.position: piece.ppm for result in results for piece in result.pieces}


def _piece(book: Book, piece: Piece, results: dict[int, int]) -> AssayPiece:
    found = COLUMNS[Method(book.worksheet.method)][piece.role][-1]
    weighed = found not in (ReadingOf.VOLUME, ReadingOf.IMPURITY)
    return AssayPiece(
        worksheet=book.worksheet.number,
        position=piece.position,
        what=" ".join(filter(None, (_WHAT.get(piece.role, piece.role.label), piece.pure.code if piece.pure else ""))),
        taken_ug=piece.readings.get(ReadingOf.PORTION),
        found_ug=piece.readings.get(found) if weighed else None,
        result_ppm=results.get(piece.position),
        word=f"discarded: {piece.discarded}" if piece.discarded else "",
    )


def _corrections(book: Book | None) -> list[str]:
    try:
        return corrections(book.sheet) if book else []
    except Refused as refused:
        return [refused.sentence]
