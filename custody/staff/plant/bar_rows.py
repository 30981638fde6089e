"""Rows of pages that make strips, blanks and bars: each piece on the form's scale, judged by the bar type chosen."""

from collections.abc import Sequence

from django import forms
from django.http import QueryDict
from django.utils import timezone

from custody.actions.work import Lose, Take
from custody.calc.bar_types import to_file_mg
from custody.calc.casting import serials_from
from custody.calc.mass import format_grams
from custody.calc.refusals import Refused
from custody.calc.scales import check_load
from custody.models import BarType, Lot, User
from custody.queries import scales, scope
from custody.queries.serials import next_serials
from custody.staff.entry import Entry
from custody.staff.lines import Choices, Line, Lines, WholeLot
from custody.staff.sampling.forms import ScaleForm
from custody.terms import METALS, Form
from custody.web.forms import GramsField, rows_of
from custody.web.weighing import WeighingFields

MOST_BARS = 200
#: Forms in which what is left goes back to stock.
BACK_TO_STOCK = (Form.SKELETON, Form.MELT, Form.GRANULES, Form.FILINGS, Form.BLANK, Form.OTHER)


def form_choices(found: Sequence[Form]) -> Choices:
    """Forms for a choice."""
    return [(form.value, form.label) for form in found]


class TypeForm(ScaleForm):
    """A step of which one scale weighs everything, for bars of one type."""

    bar_type = forms.ModelChoiceField(label="Bar type", queryset=None, required=False, empty_label="of no type")
    field_order = ("bar_type", "scale", "place", "at", "reason")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["bar_type"].queryset = BarType.objects.filter(active=True)


class LayForm(TypeForm):
    """And how to lay out several bars at once."""

    count = forms.IntegerField(label="How many bars", min_value=1, max_value=MOST_BARS, required=False)
    first_serial = forms.CharField(
        label="First serial", max_length=40, required=False, help_text="Blank: the next free ones."
    )
    field_order = ("bar_type", "scale", "place", "at", "reason", "count", "first_serial")


class OnScale(WeighingFields, Line):
    """A piece on the form's scale, without a container."""

    scale, tare, tare_reading = None, None, None
    must_weigh = True

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["gross"].label = "Weighed, g"
        self.fields["gross"].error_messages["required"] = "Its weight is missing."


class Stamped(OnScale):
    """A bar: its serial and what it weighs."""

    serial = forms.CharField(label="Serial", max_length=40)
    replaces = forms.CharField(label="Replaces lot", max_length=40, required=False)
    folded = ("replaces",)
    fold_label = "Replaces a cancelled bar"
    field_order = ("serial", "gross")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["serial"].widget.attrs |= {"data-scan": True, "data-skip": True, "autocomplete": "off"}

    def judge(self, bar_type: BarType) -> None:
        """Says at the weight that the bar is too light for its type, or too heavy."""
        judge(self, bar_type, "file it before it is stamped")


class CloseLines(Lines):
    """Rows of few fields, several beside each other."""

    template_name = "staff/plant/close_rows.html"


class Bars(CloseLines):
    title, row_word, add_label, side, lot_field = "Bars", "bar", "Add a bar", "out", "serial"
    note = "Weigh every bar as it lies there."


class Left(WeighingFields, Line):
    """What is left and goes back to stock, on the form's scale."""

    scale = None
    silent = frozenset({"form"})
    form = forms.ChoiceField(label="Form")
    field_order = ("form", "gross", "tare")

    def __init__(self, *args, made: Sequence[Form] = BACK_TO_STOCK, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["form"].choices = form_choices(made)
        self.fields["form"].initial = made[0].value


class LeftOver(Lines):
    title, row_word, add_label, side, required, lot_field = "Back to stock", "remainder", "Add one", "out", False, ""
    note = "Weighed with its container, or without one."


class PieceIn(WeighingFields, WholeLot):
    """A strip or blank that is worked by itself: by the book before, on the scale after."""

    scale, tare, tare_reading = None, None, None
    note, note_template = "", "staff/plant/piece_note.html"
    field_order = ("lot", "gross")

    def __init__(self, *args, weigh: bool = False, **kwargs):
        super().__init__(*args, **kwargs)
        field = self.fields["gross"]
        field.label, field.required = "After, g", weigh
        field.error_messages["required"] = "Its weight afterwards is missing."
        self.fields["lot"].widget.attrs["data-skip"] = True
        del field.widget.attrs["data-metal"]
        field.widget.attrs["data-balance-after"] = True
        if not weigh:
            field.help_text = "Blank: unchanged."

    def judge(self, bar_type: BarType) -> None:
        """Says at the weight that the piece is too light for the type, or still too heavy."""
        judge(self, bar_type, "file on")

    def tell(self, lot: Lot, bar_type: BarType) -> None:
        """How much is to be filed off by the book."""
        try:
            off = to_file_mg(lot.gross_mg, bar_type.least_mg, bar_type.most_mg)
        except Refused as refused:
            self.note = refused.sentence
            return
        spare = lot.gross_mg - bar_type.least_mg
        self.note = (
            f"File off {format_grams(off)} g at least, {format_grams(spare)} g at most." if off else "It is within."
        )


class FiledIn(PieceIn):
    """A blank that is filed: weighed before, if it is weighed again, and after."""

    before = GramsField(label="Before, g", what="weight before", required=False)
    folded, fold_label = ("before",), "Weighed again before"


class Pieces(CloseLines):
    title, row_word, add_label, side = "Pieces", "piece", "Add a piece", "in"
    note = "Each keeps its own metal: what comes off all of them goes back to stock together."


BarRows = rows_of(Stamped, Bars, extra=5, most=MOST_BARS)
LeftRows = rows_of(Left, LeftOver, extra=1, most=5)
PieceRows = rows_of(PieceIn, Pieces, extra=3, most=MOST_BARS)
FiledRows = rows_of(FiledIn, Pieces, extra=3, most=MOST_BARS)


class BarEntry(Entry):
    """An entry whose rows are weighed on the form's scale, and judged by its bar type where they can be."""

    def is_valid(self) -> bool:
        if not super().is_valid():
            return False
        said = self.form.cleaned_data
        plate = scales.plate_of(self.weighers[said["scale"]]) if said.get("scale") else None
        for row in self.weighed_rows():
            gross = row.cleaned_data.get("gross")
            try:
                if plate and gross:
                    check_load(plate, gross)
            except Refused as refused:
                row.add_error("gross", refused.sentence)
                continue
            if said.get("bar_type") and gross and hasattr(row, "judge"):
                row.judge(said["bar_type"])
        return not any(row.errors for row in self.weighed_rows())

    def weighed_rows(self) -> list[WeighingFields]:
        """The rows that say something and are weighed."""
        return [row for lines in self.rows.values() for row in lines.filled if isinstance(row, WeighingFields)]

    @property
    def weighers(self):
        """The scales by their codes."""
        return next(row.scales for lines in self.rows.values() for row in lines.forms if hasattr(row, "scales"))

    def lots_in(self) -> list[Lot]:
        """The lots named, in their order. Raises Refused for one that the book lacks."""
        found = []
        for row in self.rows["in"].filled:
            code = row.cleaned_data["lot"].strip()
            if code not in self.lots:
                raise Refused(f"There is no lot {code[:40]}. Check the number, or scan the label.", field="inputs")
            found.append(self.lots[code])
        return found

    def filled(self, prefix: str) -> list[Line]:
        """The rows of a part of the page that say something; none where the page has no such part."""
        return self.rows[prefix].filled if prefix in self.rows else []

    def takes(self) -> list[Take]:
        """What goes in, whole or in part."""
        rows = zip(self.filled("in"), self.lots_in(), strict=True)
        return [Take(lot.number, row.cleaned_data.get("part")) for row, lot in rows]

    def losses(self) -> list[Lose]:
        """The losses declared; where the page asks for no metals, by gross alone."""
        return [row.lose() for row in self.filled("loss")]


def judge(row: WeighingFields, bar_type: BarType, remedy: str) -> None:
    """Says at a row's weight that it is too light for the type (remelt) or too heavy (the remedy)."""
    gross = row.cleaned_data["gross"]
    try:
        over = to_file_mg(gross, bar_type.least_mg, bar_type.most_mg)
    except Refused as refused:
        row.add_error("gross", refused.sentence)
        return
    if over:
        row.add_error("gross", f"It weighs {format_grams(over)} g more than {bar_type} may: {remedy}.")


def serials_for(entry: Entry, viewer: User, mark: str, count: int) -> list[str]:
    """Serials for so many bars more than the rows have: from the first one said, or the next free ones.

    Raises Refused where there are not as many.
    """
    told = getattr(entry.form, "cleaned_data", {})
    taken = {str(row["serial"].value() or "").strip() for row in entry.rows["bar"].forms}
    if told.get("first_serial"):
        return list(serials_from(told["first_serial"].strip(), count))
    year = timezone.localdate().year
    found = next_serials(viewer, year, mark, count + len(taken), told.get("bar_type"))
    free = [serial for serial in found if serial not in taken][:count]
    if len(free) < count:
        raise Refused(
            f"Only {len(free)} serials of {mark} {year} are free for these bars. Set more aside first.", field="count"
        )
    return free


def laid(sent: QueryDict, bars: Sequence[dict[str, str]]) -> QueryDict:
    """What was sent, with these rows of bars; the next bars are laid out after them."""
    filled = sent.copy()
    filled["bar-TOTAL_FORMS"] = str(len(bars))
    for i, bar in enumerate(bars):
        for name, value in bar.items():
            filled[f"bar-{i}-{name}"] = value
    filled["count"] = filled["first_serial"] = ""
    return filled


def lots_named(request) -> list[str]:
    """Lots that a page begins with: each ``lot`` of its address, or what an operation (``of``) made and is there."""
    named = [number for number in request.GET.getlist("lot") if "\0" not in number][:MOST_BARS]
    of = request.GET.get("of", "")
    if of and "\0" not in of:
        standing = scope.lots(request.user).filter(created_by__number=of, gross_mg__gt=0)
        named += standing.filter(form__in=(Form.STRIP, Form.BLANK)).order_by("id").values_list("number", flat=True)
    return list(dict.fromkeys(named))[:MOST_BARS]


def fine(metals: Sequence[int], valued: bool) -> dict[str, int]:
    """The metals by their symbols; none where nothing is known of them."""
    return dict(zip(METALS, metals, strict=True)) if valued else {}
