"""The entry of the gate: to whom, by what right, who fetches it, and what is no bar weighed as it leaves."""

from collections.abc import Sequence

from django import forms
from django.http import QueryDict

from custody.calc.mass import format_grams
from custody.calc.scales import Reweighing
from custody.models import Lot, Scale, User
from custody.queries import handovers
from custody.terms import Against
from custody.web.collector import FIELDS as COLLECTOR
from custody.web.collector import CollectorFields
from custody.web.countersign import CountersignForm
from custody.web.forms import BaseRows, RowForm, rows_of
from custody.web.lot_list import LotListField
from custody.web.weighing import WeighingFields, weighing_kwargs

#: By what right metal leaves here; parcels that go back unmelted leave from the page of their receipt.
RIGHTS = [(right.value, right.label) for right in Against if right is not Against.RETURNED]


class GateForm(CollectorFields, CountersignForm):
    """To whom metal leaves, by what right, and who fetches it. ``seen`` is the mark of what was shown before."""

    party = forms.ModelChoiceField(label="To", queryset=None, to_field_name="code", empty_label="choose a party")
    against = forms.ChoiceField(label="It leaves as", choices=RIGHTS, widget=forms.RadioSelect)
    carrier = forms.CharField(
        label="Carrier", required=False, max_length=120, help_text="The firm that carries it, and the vehicle."
    )
    reason = forms.CharField(
        label="Note", required=False, max_length=300, help_text="Where a weight differs from the book: why."
    )
    lots = LotListField(
        label="Lots, bars, boxes",
        help_text="Scan one after the other, each on a line of its own; a box or its seal brings all its bars. Each lot"
        " leaves whole.",
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    field_order = ("party", "against", "lots", *COLLECTOR, "carrier", "reason", "at")

    def __init__(self, *args, parties, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["party"].queryset = parties
        self.fields["lots"].widget.attrs["data-tally"] = True


class LeavingRow(WeighingFields, RowForm):
    """One lot, weighed as it leaves."""

    lot = forms.CharField(label="Lot", widget=forms.TextInput(attrs={"readonly": True, "class": "mark"}))
    book = forms.CharField(
        label="By the book, g", required=False, widget=forms.TextInput(attrs={"readonly": True, "class": "figure"})
    )
    field_order = ("lot", "book", "scale", "gross", "tare")

    def has_changed(self):
        return self.is_bound and any(str(self[name].data or "").strip() for name in ("gross", "tare"))

    def tell(self, difference: Reweighing, book_mg: int) -> None:
        """Says how far it is off, and how far both scales may be."""
        off, more = abs(difference.difference_mg), difference.difference_mg > 0
        self.add_error(
            "gross",
            f"{format_grams(off)} g {'more' if more else 'less'} than the book's {format_grams(book_mg)} g; both scales"
            f" together may be {format_grams(difference.allowed_ug // 1000)} g off. Weigh it again. If it stays, write"
            " the reason as the note: a manager countersigns it below.",
        )


class LeavingRows(BaseRows):
    """Lots that are no bars, each with its weighing; all of them are shown."""

    title, row_word, add_label = "Weighed as they leave", "lot", "Add a lot"
    note = "A bar is counted by its serial, a box by its seal; everything else goes over the scale once more."
    required = False

    @property
    def shown(self):
        return self.forms


def weighing_rows(lots: Sequence[Lot], sent: QueryDict, viewer: User) -> LeavingRows:
    """A row for each of these lots; what was weighed of them before stays, whatever else was scanned meanwhile."""
    kind = rows_of(LeavingRow, LeavingRows, extra=0, most=max(len(lots), 1))
    numbers = [lot.number for lot in lots]
    rows = [key for key in sent if key.startswith("leave-") and key.endswith("-lot")]
    before = {sent[key]: key.removesuffix("-lot") for key in rows}
    if before.keys() == set(numbers) and "leave-TOTAL_FORMS" in sent:
        return kind(sent, prefix="leave", form_kwargs=weighing_kwargs(viewer))
    initial = []
    for lot in lots:
        row = {"lot": lot.number, "book": format_grams(lot.gross_mg)}
        if prefix := before.get(lot.number):
            row |= {name: sent.get(f"{prefix}-{name}", "") for name in ("scale", "gross", "tare")}
        initial.append(row)
    return kind(None, prefix="leave", initial=initial, form_kwargs=weighing_kwargs(viewer))


def check_rows(form: GateForm, rows: LeavingRows, lots: Sequence[Lot]) -> bool:
    """Whether everything is weighed and explained; else it says so, of every row at once."""
    if not rows.is_bound or not rows.is_valid():
        return False
    by_number = {lot.number: lot for lot in lots}
    for row in rows.forms:
        if row.weighed is None:
            row.add_error("gross", "The gross is missing: this lot is weighed as it leaves.")
    read = {by_number[row.cleaned_data["lot"]]: row for row in rows.forms if row.weighed}
    scales: dict[str, Scale] = rows.forms[0].scales
    compared = handovers.compare({lot: (scales[row.weighed.scale], row.weighed.net_mg) for lot, row in read.items()})
    for lot, row in read.items():
        difference = compared.get(lot.number)
        if difference and not difference.explained:
            form.asked = True
            if not (form.cleaned_data["reason"].strip() and form.cleaned_data["countersigner"]):
                row.tell(difference, lot.gross_mg)
    return not any(row.errors for row in rows.forms)
