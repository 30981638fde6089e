"""Where it all went: every gram that a campaign's receipts brought, listed by its fate, as a page and as CSV."""

from collections.abc import Iterator

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from custody.calc.mass import format_grams, plain_grams
from custody.models import Lot, User
from custody.queries import fates as queries
from custody.queries import scope
from custody.queries.fates import MOST, Fates
from custody.roles import Verb
from custody.terms import METALS
from custody.web.access import needs
from custody.web.csv_file import csv_file
from custody.web.forms import DayField, KitForm
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, LotColumn, MassColumn

ROWS = 100
#: Scanned into, Enter sends: these are no fields of an entry.
_MARK = forms.TextInput(attrs={"class": "mark", "autocomplete": "off", "autocapitalize": "off"})


class CampaignForm(KitForm):
    """Which parcels: those of some receipts, of a route order's lots, or of the receipts of some days."""

    mark_optional = False
    receipts = forms.CharField(label="Receipts, with spaces between", required=False, max_length=2000, widget=_MARK)
    order = forms.CharField(label="Or a route order", required=False, max_length=64, widget=_MARK)
    first = DayField(label="Or received from", required=False)
    last = DayField(label="To, included", required=False)

    def __init__(self, *args, viewer: User, **kwargs):
        super().__init__(*args, **kwargs)
        self.viewer = viewer
        self.parcels: list[Lot] = []

    def clean(self):
        said = self.cleaned_data
        ways = [bool(said.get("receipts")), bool(said.get("order")), bool(said.get("first") or said.get("last"))]
        if self.errors:
            return
        if sum(ways) != 1:
            raise forms.ValidationError("Choose in one way: by receipts, by a route order, or by days.")
        name, found = self._of_receipts() if ways[0] else self._of_order() if ways[1] else self._of_days()
        if found is not None:
            self.parcels = list(found[: MOST + 1])
            if not self.parcels:
                self.add_error(name, "No parcel is found there.")
            elif len(self.parcels) > MOST:
                self.add_error(name, f"These are more than {MOST} parcels. Choose fewer.")

    def _of_receipts(self):
        numbers = list(dict.fromkeys(self.cleaned_data["receipts"].replace(",", " ").split()))
        known = set(scope.receipts(self.viewer).filter(number__in=numbers).values_list("number", flat=True))
        unknown = [number for number in numbers if number not in known]
        if unknown:
            self.add_error("receipts", f"There is no receipt {unknown[0][:40]}. Check the number.")
            return "receipts", None
        return "receipts", queries.parcels_of_receipts(numbers, self.viewer)

    def _of_order(self):
        number = self.cleaned_data["order"].strip()
        order = scope.route_orders(self.viewer).filter(number=number).first()
        if order is None:
            self.add_error("order", f"There is no route order {number[:40]}. Check the number.")
            return "order", None
        return "order", queries.parcels_of_order(order, self.viewer)

    def _of_days(self):
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        first, last = first or last, last or first
        if last < first:
            self.add_error("last", f"The days end before they begin. Give a day from {first} on.")
            return "last", None
        return "first", queries.parcels_of_days(first, last, self.viewer)


class FateRows(BaseTable):
    caption = "Every fate"
    empty_text = "Nothing of it is valued yet."
    group = tables.Column("Fate", footer="Found again")
    lot = LotColumn(verbose_name="Lot", default="")
    words = tables.Column("What", default="")
    where = tables.Column("Where, or to whom", default="")
    operation = LotColumn(verbose_name="Left with", viewname="operation", default="")

    class Meta:
        orderable = False


@require_safe
@needs(Verb.TRACE, Verb.ORDER_ROUTE)
def show(request: HttpRequest) -> HttpResponse:
    """Asks which campaign; answers with every fate of its metal, and whether they sum to what was received."""
    asked = any(request.GET.get(name) for name in CampaignForm.base_fields)
    form = CampaignForm(request.GET if asked else None, viewer=request.user)
    context = {"form": form}
    if asked and form.is_valid():
        found = queries.fates_of(form.parcels, request.user)
        if request.GET.get("as") == "csv":
            return csv_file(f"fates-{timezone.localdate():%Y-%m-%d}.csv", _lines(found))
        context |= _page(request, found)
    return render(request, "staff/trace/fates.html", context)


def _page(request: HttpRequest, found: Fates) -> dict:
    metals = [metal for metal in METALS if metal in ("Au", "Ag", "Cu") or found.received_mg[METALS.index(metal)]]
    missing = any(found.missing_mg)
    query = request.GET.copy()
    query["as"] = "csv"
    columns = [
        (
            metal.lower(),
            MassColumn(
                metal,
                accessor=f"metals_mg__{METALS.index(metal)}",
                footer=format_grams(found.found_mg[METALS.index(metal)]),
            ),
        )
        for metal in metals
    ]
    if any(row.unvalued_mg for row in found.rows):
        columns.append(("unvalued", MassColumn("Gross not valued", accessor="unvalued")))
    table = FateRows(found.rows, extra_columns=columns)
    tables.RequestConfig(request, paginate={"per_page": ROWS}).configure(table)
    return {
        "status": "does not add up" if missing else "every milligram found again",
        "tone": "stop" if missing else "good",
        "actions": [Action(label="As CSV", url=f"{reverse('fates')}?{query.urlencode()}")],
        "panels": [_received(found, metals), *_groups(found, metals)],
        "table": table,
        "parcels": found.parcels,
    }


def _received(found: Fates, metals: list[str]) -> Panel:
    facts = [Fact(label=metal, mg=found.received_mg[METALS.index(metal)]) for metal in metals]
    receipts = {parcel.created_by_id for parcel in found.parcels}
    parcels, papers = len(found.parcels), len(receipts)
    words = f"{parcels} parcel{'s' * (parcels != 1)} of {papers} receipt{'s' * (papers != 1)}, by their valuations."
    return Panel(title="Received", facts=facts, note=words)


def _groups(found: Fates, metals: list[str]) -> list[Panel]:
    panels = []
    for group, mgs in found.groups.items():
        facts = [Fact(label=metal, mg=mgs[METALS.index(metal)]) for metal in metals if mgs[METALS.index(metal)]]
        if facts:
            panels.append(Panel(title=group[:1].upper() + group[1:], facts=facts))
    return panels


def _lines(found: Fates) -> Iterator[list]:
    """A head, a line for each fate, and the sums; grams with three decimals."""
    masses = [f"{metal} g" for metal in METALS]
    yield ["fate", "lot", "what", "where or to whom", "left with", *masses, "gross not valued g"]
    for row in found.rows:
        mgs = [plain_grams(mg) for mg in (*row.metals_mg, row.unvalued_mg)]
        yield [row.group, row.lot, row.words, row.where, row.operation, *mgs]
    for name, mgs in (("found again", found.found_mg), ("received", found.received_mg)):
        yield [name, "", "", "", "", *map(plain_grams, mgs), ""]
