"""Rows of a step: lots in, additions, lots out, declared losses. Choices are those of the step's own rule."""

from collections.abc import Sequence
from typing import ClassVar

from django import forms

from custody.actions.work import Add, Lose, Take
from custody.calc.apportion import withdraw
from custody.models import Lot
from custody.terms import METALS, Addition, Cause
from custody.web.forms import BaseRows, GramsField, RowForm, rows_of
from custody.web.keeping import Keeps, KeepsRows
from custody.web.lot_field import LotField

Choices = Sequence[tuple[str, str]]


class PartField(GramsField):
    """How much of a lot goes in; blank takes all of it. The running balance follows it."""

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"data-balance-part": True}


def place_field(otherwise: str, places: Choices) -> forms.ChoiceField:
    """The place of one lot; blank says otherwise."""
    field = forms.ChoiceField(label="Place", choices=[("", otherwise), *places], required=False)
    field.wide = True
    return field


class Line(Keeps, RowForm):
    """One line of a step. ``silent`` fields are choices: alone they say nothing."""

    silent: ClassVar[frozenset[str]] = frozenset()

    def has_changed(self):
        said = (name for name in self.fields if name not in self.silent)
        return self.is_bound and any(self._said(name, self.fields[name]) for name in said)

    def touched(self) -> bool:
        """Whether anything at all differs from a blank line: what was chosen stays on the page, too."""
        return bool(self.initial) or super().has_changed()


class Lines(KeepsRows, BaseRows):
    """Lines of a step."""

    @property
    def shown(self):
        last = max((number for number, form in enumerate(self.forms, start=1) if form.touched()), default=1)
        return self.forms[:last]


class WithMetals(Line):
    """A line with a gross and the metals of account; ``metals`` False leaves the metals away."""

    signed = False

    def __init__(self, *args, metals: bool = True, **kwargs):
        super().__init__(*args, **kwargs)
        if metals:
            for metal in METALS:
                self.fields[metal] = GramsField(metal=metal, required=False, signed=self.signed)

    @property
    def fine_mg(self) -> dict[str, int]:
        """The metals that were typed, milligrams."""
        return {metal: self.cleaned_data[metal] for metal in METALS if self.cleaned_data.get(metal)}


class LotIn(Line):
    """A lot that goes in, whole or in part."""

    lot = LotField(label="Lot")
    part = PartField(label="Only so much, g", what="part", required=False)

    def take(self, lots: dict[str, Lot]) -> Take:
        """What goes in, under the lot's own number where it is known."""
        code = self.cleaned_data["lot"].strip()
        return Take(lots[code].number if code in lots else code, self.cleaned_data["part"])


class WholeLot(LotIn):
    """A lot of which the entry itself says how much is taken."""

    part = None


class FixedLot(WholeLot):
    """The lot that the page is about: it can't be exchanged for another."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["lot"].disabled = True


class AdditionLine(Line):
    """What enters from outside the book."""

    silent = frozenset({"what"})
    what = forms.ChoiceField(label="What")
    gross = GramsField(metal="gross")

    def __init__(self, *args, additions: Sequence[Addition] = (), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["what"].choices = [(what.value, what.label) for what in additions]
        self.fields["what"].initial = additions[0].value if additions else ""

    def add(self) -> Add:
        """The addition."""
        return Add(Addition(self.cleaned_data["what"]), self.cleaned_data["gross"])


class LossLine(WithMetals):
    """A declared loss; what is found again is written with a minus."""

    signed = True
    silent = frozenset({"cause"})
    cause = forms.ChoiceField(label="Cause")
    gross = GramsField(metal="gross", signed=True, zero=True, required=False)

    def __init__(self, *args, causes: Sequence[Cause] = (), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["cause"].choices = [(cause.value, cause.label) for cause in causes]
        self.fields["cause"].initial = causes[0].value if causes else ""
        self.fields["cause"].wide = True
        self.fields["words"] = forms.CharField(label="In words", max_length=300, required=False)
        self.fields["words"].wide = True

    def lose(self) -> Lose:
        """The loss."""
        said = self.cleaned_data
        return Lose(Cause(said["cause"]), said["gross"] or 0, self.fine_mg, said["words"].strip())


class LotsIn(Lines):
    title, row_word, add_label, side = "Lots in", "lot in", "Add a lot in", "in"
    note = "Scan each lot; Enter moves on. Leave the part blank to take the whole lot."


class TheLot(Lines):
    title, row_word, side = "The lot", "lot", "in"


class ByTheBook(TheLot):
    title, required = "By the book", False


class Additions(Lines):
    title, row_word, add_label, side = "Additions", "addition", "Add an addition", "add"
    note = "Mass from outside the book, without metal of account. Silver for inquartation is a lot in."
    required, lot_field = False, ""


class LotsOut(Lines):
    title, row_word, add_label, side = "Lots out", "lot out", "Add a lot out", "out"
    lot_field = ""


class Losses(Lines):
    title, row_word, add_label, side = "Declared losses", "loss", "Add a loss", "loss"
    note = "Mass and metal that leave the book, each with its cause. Metal found again is a loss with a minus."
    required, lot_field = False, ""


LotsInRows = rows_of(LotIn, LotsIn)
WholeLotRows = rows_of(WholeLot, TheLot, extra=1, most=1)
FixedLotRows = rows_of(FixedLot, ByTheBook, extra=0, most=1)
AdditionRows = rows_of(AdditionLine, Additions, extra=2)
LossRows = rows_of(LossLine, Losses)


def taken_mg(lot: Lot, part_mg: int | None) -> tuple[int, ...]:
    """Gross and metals that leave a lot when so much of it is taken, milligrams; more than it holds takes all."""
    if part_mg is None or part_mg >= lot.gross_mg:
        return lot.columns_mg
    return (part_mg, *withdraw(lot.gross_mg, lot.metals_mg, part_mg))
