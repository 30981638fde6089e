"""The picture of the day's flow: from where to where metal went, and every place's figures beside it."""

from datetime import date, timedelta
from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from custody.calc.mass import format_grams
from custody.documents import flow
from custody.queries.day_flow import DayFlow, End, day_flow
from custody.roles import Verb
from custody.terms import COLUMNS
from custody.web.access import needs
from custody.web.forms import DayField, KitForm
from custody.web.panels import Action
from custody.web.tables import BaseTable, MassColumn

#: What an end is called on the left (it gives) and on the right (it takes).
NAMES = {
    "parcel": ("received", "receipt undone"),
    "added": ("added", "addition undone"),
    "dispatched": ("dispatch undone", "dispatched"),
    "loss": ("found again", "lost"),
    "difference": ("gain over book", "loss against book"),
    "bar": ("bars from", "bars at"),
    "lot": ("from", "at"),
}
#: How a box of an end is drawn.
DRAWN = {"added": "lot"}


class DayForm(KitForm):
    """Which day, and what the bands are of."""

    mark_optional = False
    day = DayField(
        label="Day",
    )
    metal = forms.ChoiceField(label="Bands by", choices=[(column, column) for column in COLUMNS], required=False)


def _footer(name: str):
    return lambda table: format_grams(sum(row[name] for row in table.data))


class PlaceDays(BaseTable):
    caption = "Place by place"
    empty_text = "Nothing stood anywhere, and nothing moved."
    place = tables.Column("Place", footer="Together")
    opening = MassColumn("Opening", footer=_footer("opening"))
    came = MassColumn("In", footer=_footer("came"))
    went = MassColumn("Out", footer=_footer("went"))
    closing = MassColumn("Closing", footer=_footer("closing"))

    class Meta:
        orderable = False


class Crossed(BaseTable):
    caption = "Into the book and out of it"
    empty_text = "Nothing came into the book that day, and nothing left it."
    what = tables.Column("What", footer="Together")
    came = MassColumn("Came", footer=_footer("came"))
    went = MassColumn("Went", footer=_footer("went"))

    class Meta:
        orderable = False


class WayTable(BaseTable):
    """The bands of the picture, one row each."""

    caption = "The picture in figures"
    empty_text = "Nothing moved."
    source = tables.Column("From")
    done = tables.Column("By")
    target = tables.Column("To")
    mg = MassColumn("Mass")

    class Meta:
        orderable = False


@require_safe
@needs(Verb.READ_BOOK)
def show(request: HttpRequest) -> HttpResponse:
    """One local day, today unless another is asked for."""
    today = timezone.localdate()
    asked = request.GET if "day" in request.GET else {"day": today.isoformat(), "metal": request.GET.get("metal", "")}
    form = DayForm(asked, initial={"metal": "Au"})
    if not form.is_valid():
        return render(request, "staff/plant/day_flow.html", {"form": form}, status=200)
    day, metal = form.cleaned_data["day"], form.cleaned_data["metal"] or "Au"
    found = day_flow(day, request.user)
    column = COLUMNS.index(metal)
    context = {
        "form": DayForm(initial={"day": day, "metal": metal}),
        "under": f"{day:%A} {day}, {'gross mass' if metal == 'gross' else metal}",
        "actions": _actions(day, metal, today),
        "places": PlaceDays(_places(found, column)),
        "crossed": Crossed(_crossed(found, column)),
        "ways": WayTable(_ways(found, column)),
    }
    return render(request, "staff/plant/day_flow.html", context | _picture(found, column))


def _actions(day: date, metal: str, today: date) -> list[Action]:
    near = [("Day before", day - timedelta(days=1))]
    if day < today:
        near.append(("Day after", day + timedelta(days=1)))
    address = reverse("day-flow")
    found = [
        Action(label=label, url=f"{address}?{urlencode({'day': one.isoformat(), 'metal': metal})}")
        for label, one in near
    ]
    return [*found, Action(label="The plant", url=reverse("plant"))]


def _places(found: DayFlow, column: int) -> list[dict]:
    rows = []
    for one in found.places:
        figures = {
            "opening": one.opening[column],
            "came": one.came[column],
            "went": one.went[column],
            "closing": one.closing[column],
        }
        if any(figures.values()):
            rows.append({"place": str(one.place)} | figures)
    return rows


def _crossed(found: DayFlow, column: int) -> list[dict]:
    return [{"what": _crossing(end), "came": came, "went": went} for end, came, went in found.crossed(column)]


def _crossing(end: End) -> str:
    return {"loss": f"lost: {end.word}", "added": f"added: {end.word}"}.get(end.kind, end.word)


def _name(end: End, side: int) -> tuple[str, ...]:
    name = NAMES[end.kind][side]
    return (name,) if end.word == name or end.kind == "parcel" else (name, end.word)


def _bands(found: DayFlow, column: int) -> list[tuple[End, str, int, int]]:
    """End, what was done, which side the end stands on, and milligrams."""
    left = [(end, done, 0, mgs[column]) for (end, done), mgs in found.sources.items()]
    right = [(end, done, 1, mgs[column]) for (done, end), mgs in found.targets.items()]
    return [band for band in (*left, *right) if band[3]]


def _ways(found: DayFlow, column: int) -> list[dict]:
    rows = [
        {"source": words if side == 0 else "", "done": done, "target": words if side else "", "mg": mg}
        for end, done, side, mg in _bands(found, column)
        for words in [" ".join(_name(end, side))]
    ]
    return sorted(rows, key=lambda row: (row["done"], not row["source"], -row["mg"]))


def _picture(found: DayFlow, column: int) -> dict:
    """Three columns: where it came from, what was done, where it went. Left as right of what was done sum the same."""
    nodes, links, metal = {}, [], COLUMNS[column]
    for end, done, side, mg in _bands(found, column):
        key, step = f"{side} {end.kind} {end.word}", f"done {done}"
        kind = DRAWN.get(end.kind, end.kind)
        nodes.setdefault(step, flow.Node(step, tuple(done.split(": ", 1)), "lot", 1))
        nodes.setdefault(key, flow.Node(key, _name(end, side), kind, 2 * side))
        links.append(flow.Link(step, key, mg, metal) if side else flow.Link(key, step, mg, metal))
    if not links:
        return {}
    picture = flow.layout(list(nodes.values()), links)
    words = flow.sentences(picture.nodes, picture.links)
    title = f"{'Gross mass' if metal == 'gross' else metal} on {found.day}"
    return {
        "flow_title": title,
        "flow_svg": flow.svg(picture, title=title, desc="; ".join(words), key="picture"),
    }
