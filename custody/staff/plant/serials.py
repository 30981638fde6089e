"""Serials: ranges set aside for a mark and year, and the register of every serial of a range."""

from collections.abc import Iterator

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from custody.actions.bar_types import set_aside_serials, tell_serials
from custody.calc.casting import serials_from
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import BarType, SerialRange
from custody.queries import serials as queries
from custody.roles import Verb, may
from custody.terms import SerialFate
from custody.web.access import needs
from custody.web.csv_file import csv_file
from custody.web.forms import BaseForm, CountField, KitForm, ScanField
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MomentColumn, StatusColumn

PER_PAGE = 50
#: The most serials that are told of at once.
MOST_TOLD = 1000
TONES = {
    queries.RESERVED: "wait",
    queries.STAMPED: "good",
    queries.DISPATCHED: "good",
    queries.SPOILED: "stop",
    queries.CANCELLED: "stop",
}


class RangeForm(BaseForm):
    """Serials from a first to a last, like A000001 to A000500."""

    year = forms.IntegerField(label="Year", min_value=2000, max_value=2999)
    first = ScanField(label="First serial", max_length=40, help_text="It ends in digits, like A000001.")
    count = CountField(label="How many")
    bar_type = forms.ModelChoiceField(label="For", queryset=None, required=False, empty_label="any bar")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["bar_type"].queryset = BarType.objects.filter(active=True)
        self.fields["first"].wide = False

    def clean_first(self):
        serial = self.cleaned_data["first"].strip()
        if not serial[-1:].isascii() or not serial[-1:].isdigit():
            raise forms.ValidationError("A serial ends in digits. Write the first one like A000001.")
        return serial

    def clean(self):
        said = super().clean()
        first, count = said.get("first"), said.get("count")
        if first and count:
            head = first.rstrip("0123456789")
            digits = first[len(head) :][-12:]
            said["head"] = first[: len(first) - len(digits)]
            said["width"], said["number"] = len(digits), int(digits)
        return said


class TellForm(BaseForm):
    """What became of some serials that no bar bears."""

    FATES = (
        (SerialFate.RESERVED, "reserve"),
        (SerialFate.FREED, "free again"),
        (SerialFate.SPOILED, "spoiled, for ever"),
    )
    fate = forms.ChoiceField(label="What", choices=[(fate.value, words) for fate, words in FATES])
    serial = ScanField(label="Serial", max_length=40)
    count = CountField(label="How many from it on", required=False, help_text="Blank: this one.")
    reason = forms.CharField(label="For whom, or why", max_length=300)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["serial"].wide = False

    def clean_count(self):
        count = self.cleaned_data["count"] or 1
        if count > MOST_TOLD:
            raise forms.ValidationError(f"At most {MOST_TOLD} at once.")
        return count


class StateForm(KitForm):
    """Which serials?"""

    mark_optional = False
    state = forms.ChoiceField(
        label="State", required=False, choices=[("", "all"), *((state, state) for state in queries.STATES)]
    )
    serial = ScanField(label="Serial", max_length=40, required=False)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["serial"].wide = False


class RangeTable(BaseTable):
    caption = "Ranges set aside"
    empty_text = "None is set aside: any serial may be stamped, and the next one follows the highest."
    year = tables.Column("Year")
    mark = tables.Column("Mark")
    serials = tables.Column("Serials", empty_values=())
    size = FigureColumn("How many", empty_values=(), accessor="last")
    bar_type = tables.Column("For", default="any bar")
    by = tables.Column("Set aside by", accessor="set_by")
    at = MomentColumn("When", accessor="set_at")

    class Meta:
        orderable = False

    def render_serials(self, record: SerialRange):
        words = f"{record.serial(record.first)} to {record.serial(record.last)}"
        return render_to_string("ui/lot.html", {"number": words, "url": reverse("serial-range", args=[record.pk])})

    def render_size(self, record: SerialRange):
        return str(record.last - record.first + 1)


class SerialTable(BaseTable):
    caption = "Serials"
    empty_text = "No serial of this range is so."
    serial = tables.Column("Serial")
    state = StatusColumn(verbose_name="State", tones=TONES)
    lot = LotColumn(verbose_name="Lot", accessor="lot", default="—")
    words = tables.Column("Where, for whom, why", default="—")

    class Meta:
        orderable = False


class _Listed:
    """The serials of a register in one state, read a page at a time."""

    def __init__(self, register: queries.Register, state: str, size: int):
        self.register, self.state, self.size = register, state, size

    def __len__(self):
        return self.size

    def __getitem__(self, part: slice):
        return self.register.page(self.state, part.start, part.stop - part.start)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.READ_BOOK)
def serials(request: HttpRequest) -> HttpResponse:
    """The ranges; a manager sets one aside for the house's mark."""
    keeps = may(request.user.roles, Verb.KEEP_BARS)
    form = RangeForm(request.POST or None, initial={"year": timezone.localdate().year})
    if request.method == "POST":
        if not keeps:
            raise PermissionDenied("You may not set serials aside.")
        made = _set_aside(request, form) if form.is_valid() else None
        if made:
            return redirect("serial-range", made.pk)
    table = RangeTable(queries.ranges(request.user))
    tables.RequestConfig(request, paginate={"per_page": 40}).configure(table)
    actions = [Action(label="Bar types", url=reverse("bar-types"))]
    context = {"form": form if keeps else None, "table": table, "actions": actions}
    return render(request, "staff/plant/serials.html", context)


def _set_aside(request: HttpRequest, form: RangeForm) -> SerialRange | None:
    said = form.cleaned_data
    try:
        made = set_aside_serials(
            mark=request.refinery.mark if request.refinery else "",
            year=said["year"],
            head=said["head"],
            width=said["width"],
            first=said["number"],
            last=said["number"] + said["count"] - 1,
            bar_type=said["bar_type"],
            at=timezone.now(),
            by=request.user,
            request_key=said["request_key"],
        )
    except Refusal as refusal:
        form.refuse(refusal)
        return None
    messages.success(request, f"{made} is set aside.")
    return made


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.READ_BOOK)
def register(request: HttpRequest, pk: int) -> HttpResponse:
    """Every serial of one range with its state; who casts reserves, frees and spoils."""
    one = get_object_or_404(queries.ranges(request.user), pk=pk)
    tells = may(request.user.roles, Verb.CAST)
    asked, found = StateForm(request.GET or None, auto_id="asked_%s"), queries.Register(one)
    state, serial = _asked(asked)
    form = TellForm(request.POST or None, initial={"serial": serial})
    if request.method == "POST":
        if not tells:
            raise PermissionDenied("You may not say what became of serials.")
        if form.is_valid() and _tell(request, form, one):
            return redirect("serial-range", one.pk)
    counts = found.counts()
    rows = found.only(serial) if serial else _Listed(found, state, counts[state] if state else found.size)
    pager = Paginator(rows, PER_PAGE)
    page = pager.get_page(request.GET.get("page"))
    listed = {"caption": "Serials", "page": page, "paginator": pager, "prefixed_page_field": "page"}
    csv_url = f"{reverse('serial-csv', args=[one.pk])}{f'?state={state}' if state else ''}"
    context = {
        "range": one,
        "form": form if tells else None,
        "asked": asked,
        "table": SerialTable(list(page)),
        "listed": listed,
        "panel": _panel(one, found.size, counts),
        "actions": [Action(label="All ranges", url=reverse("serials")), Action(label="As CSV", url=csv_url)],
    }
    return render(request, "staff/plant/serial_range.html", context)


@require_GET
@needs(Verb.READ_BOOK)
def register_csv(request: HttpRequest, pk: int) -> HttpResponse:
    """The register as CSV: serial, state, lot, words."""
    one = get_object_or_404(queries.ranges(request.user), pk=pk)
    found, (state, _) = queries.Register(one), _asked(StateForm(request.GET or None))
    name = f"serials-{one.mark}-{one.year}-{one.serial(one.first)}.csv"
    return csv_file(name, _lines(found, state))


def _lines(found: queries.Register, state: str) -> Iterator[tuple]:
    yield ("mark", "year", "serial", "state", "lot", "words")
    size = found.counts()[state] if state else found.size
    for skip in range(0, size, MOST_TOLD):
        for told in found.page(state, skip, MOST_TOLD):
            of = found.range
            yield (of.mark, of.year, told.serial, told.state, told.lot, told.words)


def _asked(asked: StateForm) -> tuple[str, str]:
    """The state and the one serial that the list is asked for."""
    said = asked.cleaned_data if asked.is_valid() else {}
    return said.get("state", ""), said.get("serial", "").strip()


def _panel(one: SerialRange, size: int, counts: dict[str, int]) -> Panel:
    facts = [Fact(label="For", value=str(one.bar_type or "any bar"))]
    facts += [Fact(label=state.capitalize(), value=str(counts[state])) for state in queries.STATES if counts[state]]
    return Panel(title=f"{size} serials", facts=facts, note=f"Set aside by {one.set_by}.")


def _tell(request: HttpRequest, form: TellForm, one: SerialRange) -> bool:
    said = form.cleaned_data
    try:
        told = tell_serials(
            mark=one.mark,
            year=one.year,
            serials=serials_from(said["serial"].strip(), said["count"]),
            fate=SerialFate(said["fate"]),
            reason=said["reason"],
            at=timezone.now(),
            by=request.user,
            request_key=said["request_key"],
        )
    except (Refusal, Refused) as refusal:
        form.refuse(refusal)
        return False
    which = told[0].serial if len(told) == 1 else f"{told[0].serial} to {told[-1].serial}"
    messages.success(request, f"{which}: {said['fate']}.")
    return True
