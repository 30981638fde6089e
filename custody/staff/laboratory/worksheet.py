"""One worksheet: its tray as a grid of readings, files of readings, pieces that are discarded."""

from dataclasses import dataclass

from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from custody.actions.worksheets import discard_piece, import_readings, record_readings
from custody.calc.assay import INQUARTATION, format_milligrams
from custody.calc.file_rows import FileRefused
from custody.calc.fineness import format_per_mille
from custody.calc.refusals import Refused
from custody.calc.worksheet import COLUMNS, columns_of, silver_for
from custody.errors import Refusal
from custody.models import Worksheet, WorksheetPiece, WorksheetReading
from custody.queries import scales, worksheets
from custody.queries.worksheets import Book
from custody.roles import Verb, may
from custody.staff.laboratory.readings import DiscardForm, FileForm, ReadingsForm
from custody.terms import PieceRole, ReadingOf
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

HEADS = {
    ReadingOf.PORTION: "Portion, mg",
    ReadingOf.SILVER_ADDED: "Silver added, mg",
    ReadingOf.BEAD: "Bead, mg",
    ReadingOf.CORNET: "Cornet, mg",
    ReadingOf.CHLORIDE: "Silver chloride, mg",
    ReadingOf.VOLUME: "Volume, mL",
    ReadingOf.IMPURITY: "Impurities, mg/kg",
}


@dataclass(frozen=True, slots=True)
class Cell:
    """One reading of a piece: the field it is keyed in, or what it says. ``head`` names it on a narrow screen."""

    head: str
    field: forms.BoundField | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One position of the tray."""

    piece: WorksheetPiece
    cells: tuple[Cell, ...]
    discarded: str
    standing: str


@dataclass(frozen=True, slots=True)
class Page:
    """A worksheet with its forms, as it was asked for or sent."""

    book: Book
    readings: ReadingsForm
    file: FileForm
    discard: DiscardForm


@needs(Verb.DETERMINE, Verb.ACCEPT, Verb.READ_BOOK)
def sheet(request: HttpRequest, number: str) -> HttpResponse:
    """The tray and what was read of it; an assayer keys readings down the columns, or gives a file."""
    worksheet = get_object_or_404(worksheets.worksheets(request.user), number=number)
    if request.method == "POST" and not may(request.user.roles, Verb.DETERMINE):
        raise PermissionDenied("You may not record readings.")
    page = _page(request, worksheet)
    if request.method == "POST":
        act = {"file": _import, "discard": _discard}.get(request.POST.get("do", ""), _record)
        done = act(request, page)
        if done:
            return done
    return render(request, "staff/laboratory/worksheet.html", _context(request, page))


def _page(request: HttpRequest, worksheet: Worksheet) -> Page:
    book = worksheets.book_of(worksheet, own=False)
    sent = request.POST if request.method == "POST" else None
    do = request.POST.get("do", "readings") if sent else ""
    done = worksheets.reported(worksheet)
    frozen = {row.position for row in book.rows if (row.lot.number in done if row.lot else bool(done))}
    return Page(
        book,
        ReadingsForm(sent if do == "readings" else None, book=book, frozen=frozen),
        FileForm(sent if do == "file" else None, request.FILES if do == "file" else None, prefix="file"),
        DiscardForm(sent if do == "discard" else None, prefix="discard", book=book, frozen=frozen),
    )


def _record(request: HttpRequest, page: Page) -> HttpResponse | None:
    form = page.readings
    if not form.is_valid():
        return None
    try:
        new = record_readings(
            worksheet=page.book.worksheet,
            readings=form.readings,
            seen=form.cleaned_data["seen"],
            reason=form.cleaned_data["reason"],
            at=timezone.now(),
            by=request.user,
        )
    except (Refusal, Refused) as refusal:
        form.refuse(refusal)
        return None
    return _told(request, page, f"{new} readings are recorded." if new else "Nothing was new.")


def _import(request: HttpRequest, page: Page) -> HttpResponse | None:
    form = page.file
    if not form.is_valid():
        return None
    try:
        new = import_readings(
            worksheet=page.book.worksheet,
            name=form.name,
            text=form.text,
            reason=form.cleaned_data["reason"],
            at=timezone.now(),
            by=request.user,
        )
    except FileRefused as refused:
        for fault in refused.faults:
            form.add_error("file", fault)
        return None
    except (Refusal, Refused) as refusal:
        form.refuse(refusal)
        return None
    said = f"{new} readings are recorded." if new is not None else "This file was read before: nothing is changed."
    return _told(request, page, said)


def _discard(request: HttpRequest, page: Page) -> HttpResponse | None:
    form = page.discard
    if not form.is_valid():
        return None
    position = int(form.cleaned_data["position"])
    try:
        discard_piece(
            worksheet=page.book.worksheet,
            position=position,
            reason=form.cleaned_data["reason"],
            at=timezone.now(),
            by=request.user,
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return None
    return _told(request, page, f"The piece at position {position} is discarded; its readings stay.")


def _told(request: HttpRequest, page: Page, sentence: str) -> HttpResponse:
    messages.success(request, sentence)
    return redirect("worksheet", page.book.worksheet.number)


def _context(request: HttpRequest, page: Page) -> dict:
    book = page.book
    worksheet = book.worksheet
    columns = columns_of(book.sheet.method, book.sheet.pieces)
    may_record = may(request.user.roles, Verb.DETERMINE)
    url = reverse("worksheet-results", kwargs={"number": worksheet.number})
    return {
        "worksheet": worksheet,
        "panels": [_panel(worksheet)],
        "heads": _heads(columns),
        "rows": _rows(page, columns, may_record=may_record),
        "imported": ReadingOf.IMPURITY in columns,
        "keyed": bool(may_record and page.readings.cells),
        "may_record": may_record and page.discard.open_positions,
        "page": page,
        "replaced": [_replaced(one) for one in book.replaced],
        "balance_words": _balance_words(worksheet),
        "actions": [Action(label="Results", url=url, tone="main")],
    }


def _heads(columns: list[ReadingOf]) -> list[str]:
    heads = [HEADS[of] for of in columns]
    if ReadingOf.SILVER_ADDED in columns and ReadingOf.CORNET in columns:
        heads.insert(columns.index(ReadingOf.SILVER_ADDED), "Add silver, mg")
    return heads


def _rows(page: Page, columns: list[ReadingOf], *, may_record: bool) -> list[Row]:
    book, heads = page.book, _heads(columns)
    expected = worksheets.expected(book.lots) if "Add silver, mg" in heads else {}
    rows, seen = [], set()
    for row, piece in zip(book.rows, book.sheet.pieces, strict=True):
        said = expected.get(piece.lot)
        cells = []
        for of in columns:
            if of is ReadingOf.SILVER_ADDED and "Add silver, mg" in heads:
                add = silver_for(piece, said.ppm if said else None, ratio=INQUARTATION)
                cells.append(Cell("Add silver, mg", words="—" if add is None else format_milligrams(add)))
            field = page.readings.cell(row.position, of) if may_record else None
            cells.append(Cell(HEADS[of], field, _words(book, row, of)))
        new = piece.lot and piece.lot not in seen
        seen.add(piece.lot)
        standing = f"may hold {format_per_mille(said.ppm[0])} ‰ Au, {said.words}" if said and new else ""
        rows.append(Row(row, tuple(cells), piece.discarded, standing))
    return rows


def _words(book: Book, row: WorksheetPiece, of: ReadingOf) -> str:
    if of not in COLUMNS[book.sheet.method][PieceRole(row.role)]:
        return ""
    ours = [one for (piece, kind, _), one in book.latest.items() if piece == row.pk and kind == of]
    if of is ReadingOf.IMPURITY:
        return ", ".join(f"{one.element} {'<' * one.undetected}{format_milligrams(one.value)}" for one in ours) or "—"
    return format_milligrams(ours[0].value) if ours else "—"


def _replaced(one: WorksheetReading) -> dict:
    what = f"{one.of} {one.element}".strip()
    return {
        "position": one.piece.position,
        "what": what,
        "value": format_milligrams(one.value),
        "by": one.by,
        "at": one.at,
    }


def _balance_words(worksheet: Worksheet) -> str:
    """Why the balance may not weigh now; empty when it may, or when there is none."""
    if worksheet.balance is None:
        return ""
    scale = scales.standing().filter(pk=worksheet.balance_id).first()
    return "" if scale is None or scale.passed else f"{scale}: {scales.state_of(scale)}."


def _panel(worksheet: Worksheet) -> Panel:
    facts = [
        Fact(label="Method", value=worksheet.get_method_display()),
        Fact(label="Metal", value=worksheet.metal),
        Fact(label="At", value=worksheet.place or "not said"),
        Fact(label="Balance", value=worksheet.balance or "none"),
        Fact(label="Opened by", value=worksheet.by),
        Fact(label="Opened", at=worksheet.at),
    ]
    return Panel(title="Worksheet", facts=facts, note=worksheet.note)
