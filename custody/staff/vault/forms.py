"""Entries of the vault desk."""

from typing import ClassVar

from django import forms

from custody.actions.move import Passing
from custody.calc.mass import format_grams
from custody.calc.scales import Reweighing
from custody.models import Lot, User
from custody.queries import holdings
from custody.terms import Form, NotWeighed
from custody.web.countersign import CountersignForm
from custody.web.forms import BaseRows, RowForm, rows_of
from custody.web.lot_field import LotField
from custody.web.lot_list import LotListField
from custody.web.weighing import Scales, WeighingFields, scale_choices

#: Why a lot passes at book, where a person has to say it: a vessel's content says so by itself, a shift by its list.
SAYABLE = (NotWeighed.SEALED, NotWeighed.SERIAL, NotWeighed.POWER)


def scale_field(scales: Scales, last: str) -> forms.ChoiceField:
    """The scale that weighs every row of a form; the person's last one is chosen beforehand."""
    initial = last if last in scales else ""
    return forms.ChoiceField(
        label="Scale",
        required=False,
        initial=initial,
        choices=[*([] if initial else [("", "choose…")]), *scale_choices(scales)],
        widget=forms.Select(attrs={"data-scale": True}),
    )


class HandoverForm(CountersignForm):
    """To whom lots pass, where, when, on which scale they are weighed, and which of them are not."""

    AT_BOOK: ClassVar = ("at_book", "not_weighed")

    to_person = forms.ModelChoiceField(label="To", queryset=User.objects.none(), empty_label="choose a person")
    to_place = forms.ModelChoiceField(label="Place", queryset=None, to_field_name="code", empty_label="choose a place")
    note = forms.CharField(label="Note", required=False, max_length=300)
    at_book = LotListField(
        label="Lots that pass at book",
        required=False,
        help_text="Scan one after the other, each on a line of its own; a box or its seal brings all its bars.",
    )
    not_weighed = forms.ChoiceField(
        label="Why they are not weighed",
        required=False,
        choices=[("", "choose a reason"), *((str(reason), reason.label) for reason in SAYABLE)],
        help_text="The content of a vessel needs no reason; that no scale could be used is countersigned.",
    )

    def __init__(self, *args, scales: Scales, scale: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["to_person"].queryset = holdings.takers()
        self.fields["to_place"].queryset = holdings.places()
        self.fields["scale"] = scale_field(scales, scale)
        self.fields["not_weighed"].wide = self.fields["not_weighed"].asked = True

    @property
    def head_fields(self) -> list[forms.BoundField]:
        """What stands above the lots."""
        return [bound for bound in self.visible_fields() if bound.name not in self.AT_BOOK]

    @property
    def book_fields(self) -> list[forms.BoundField]:
        """What passes at book, and why."""
        return [self[name] for name in self.AT_BOOK]

    def reason_for(self, lot: Lot) -> NotWeighed | None:
        """Why a lot of the list is not weighed: that a content stays in its vessel is known without a word."""
        return None if lot.form == Form.IN_PROCESS else NotWeighed(self.cleaned_data["not_weighed"])


class PassingRow(WeighingFields, RowForm):
    """One lot with its check weighing; it asks for an explanation once both scales' errors do not explain it."""

    scale = None
    field_order = ("lot", "gross", "tare", "explanation")

    lot = LotField(label="Lot")
    explanation = forms.CharField(label="Why it weighs otherwise", required=False, max_length=300)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["explanation"].wide = True
        self.asked = False

    def visible_fields(self):
        """The explanation only where one is asked for, or something is typed in it."""
        said = self.asked or (self.is_bound and self["explanation"].data)
        return [bound for bound in super().visible_fields() if said or bound.name != "explanation"]

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("lot") and cleaned.get("gross") is None and "gross" not in self.errors:
            self.add_error("gross", "The gross is missing: weigh the lot, or scan it below among those at book.")
        return cleaned

    def tell(self, difference: Reweighing, book_mg: int) -> None:
        """Says beside the row how far it is off and how far it may be, and asks for the explanation."""
        self.asked = True
        off, more = abs(difference.difference_mg), difference.difference_mg > 0
        self["explanation"].help_text = (
            f"Book {format_grams(book_mg)} g, weighed {format_grams(off)} g {'more' if more else 'less'}; both scales"
            f" together may be {format_grams(difference.allowed_ug // 1000)} g off."
        )
        if not self.cleaned_data.get("explanation"):
            self.add_error("explanation", "Weigh it again. If it stays, say why: a manager countersigns it below.")

    def number(self, lots: dict[str, Lot]) -> str:
        """The lot's own number where it is known, else what was typed."""
        code = str(self["lot"].value() or "").strip()
        return lots[code].number if code in lots else code

    def passing(self, lots: dict[str, Lot], scale: str) -> Passing:
        """What passes, weighed on this scale."""
        return Passing(self.number(lots), self.weighed_on(scale), explanation=self.cleaned_data["explanation"])


class PassingRows(BaseRows):
    """Lots that are weighed as they pass."""

    title = "Lots that are weighed"
    row_word = "lot"
    add_label = "Add a lot"
    note = "Scan the lot, then let the scale or the hand write its gross; Enter moves on."
    required = False


PassingRowSet = rows_of(PassingRow, PassingRows, extra=8)
