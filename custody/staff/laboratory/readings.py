"""The forms of a worksheet: readings keyed down the columns, a file of readings, a piece that is discarded.

None has a key of its own: what stands there already is not recorded again, so that each may be sent twice.
"""

from django import forms

from custody.calc.assay import format_milligrams
from custody.calc.worksheet import COLUMNS
from custody.calc.worksheet_file import Read, read_value
from custody.queries.worksheets import Book
from custody.terms import PieceRole, ReadingOf
from custody.web.files import FileOrLines
from custody.web.forms import GramsField, KitForm


class ReadingField(GramsField):
    """Milligrams or millilitres of one piece, cleaned to whole micrograms or microlitres."""

    def __init__(self, *, of: ReadingOf, position: int, **kwargs):
        self.of, self.position = of, position
        unit = "mL" if of is ReadingOf.VOLUME else "mg"
        label = f"Position {position}, {of.label}, {unit}"
        super().__init__(label=label, what=of.label, required=False, **kwargs)

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"data-down": self.of.name.lower(), "aria-label": self.label}

    def parse(self, text: str) -> int:
        return read_value(self.of, text)

    def show(self, value: int) -> str:
        return format_milligrams(value)


class ReadingsForm(KitForm):
    """A grid of readings: a field for every cell that is not discarded and not reported (``frozen`` positions)."""

    mark_optional = False
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    reason = forms.CharField(
        label="Reason", required=False, max_length=300, help_text="Where a figure replaces one that was read before."
    )

    def __init__(self, *args, book: Book, frozen: set[int], **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["seen"].initial = book.seen
        self.cells: dict[tuple[int, ReadingOf], str] = {}
        for piece in book.sheet.pieces:
            if piece.discarded or piece.position in frozen:
                continue
            for of in COLUMNS[book.sheet.method][PieceRole(piece.role)]:
                if of is ReadingOf.IMPURITY:
                    continue
                name = Read(piece.position, of, 0).name
                self.cells[piece.position, of] = name
                self.fields[name] = ReadingField(of=of, position=piece.position, initial=piece.readings.get(of))

    def cell(self, position: int, of: ReadingOf) -> forms.BoundField | None:
        """The field of one cell, where it can be keyed."""
        name = self.cells.get((position, of))
        return self[name] if name else None

    @property
    def readings(self) -> list[Read]:
        """What was keyed; a blank cell says nothing."""
        said = self.cleaned_data
        return [
            Read(position, of, said[name]) for (position, of), name in self.cells.items() if said.get(name) is not None
        ]


class FileForm(FileOrLines):
    """A file of a balance or an instrument, or its lines pasted."""

    reason = forms.CharField(
        label="Reason", required=False, max_length=300, help_text="Where a figure replaces one that was read before."
    )

    def clean(self):
        cleaned = super().clean()
        if not self.text and not self.errors:
            self.text, self.name = cleaned.get("lines", ""), "pasted"
        if not self.text.strip() and not self.errors:
            self.add_error("file", "Choose a file, or paste its lines.")
        return cleaned


class DiscardForm(KitForm):
    """A piece that spurted, was spilt or lost."""

    position = forms.ChoiceField(label="Position")
    reason = forms.CharField(label="What happened", max_length=300)

    def __init__(self, *args, book: Book, frozen: set[int], **kwargs):
        super().__init__(*args, **kwargs)
        self.open_positions = [
            piece for piece in book.sheet.pieces if not piece.discarded and piece.position not in frozen
        ]
        self.fields["position"].choices = [
            (piece.position, f"{piece.position}: {piece.role.label} {piece.lot or piece.pure.code}")
            for piece in self.open_positions
        ]
