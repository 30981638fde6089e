"""The balance of a month or of any days, and the closing of a month."""

import hashlib
import json

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from custody.actions.house import close_period
from custody.documents import flow
from custody.errors import Refusal
from custody.queries import balance as queries
from custody.queries import scope
from custody.roles import Verb, may
from custody.staff.balance_span import Span
from custody.staff.balance_tables import Line, MonthTable, UnvaluedTable, balance_table, lines_of, standing_of
from custody.terms import COLUMNS, METALS
from custody.web.access import needs
from custody.web.forms import BaseForm, DayField, KitForm
from custody.web.panels import Action, Fact

MONTHS_A_PAGE = 12
LOTS_A_PAGE = 25


class SpanForm(KitForm):
    """Which days."""

    mark_optional = False
    first = DayField(label="From")
    last = DayField(label="To, included")

    def clean(self):
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        if first and last and last < first:
            self.add_error("last", f"The span ends before it begins. Give a day from {first} on.")

    @property
    def span(self) -> Span:
        return Span(self.cleaned_data["first"], self.cleaned_data["last"])


class CloseForm(BaseForm):
    """The month to close, and a seal of the figures that were looked at."""

    month = DayField(widget=forms.HiddenInput)
    seen = forms.CharField(widget=forms.HiddenInput)


@require_safe
@needs(Verb.READ_BOOK)
def show(request: HttpRequest) -> HttpResponse:
    """The balance of the days asked for; of this month so far when none are."""
    today = timezone.localdate()
    if not request.GET.keys() & {"first", "last"}:
        span = Span(today.replace(day=1), today)
        return _page(request, SpanForm(initial={"first": span.first, "last": span.last}), span)
    form = SpanForm(request.GET)
    return _page(request, form, form.span if form.is_valid() else None)


@require_POST
@needs(Verb.CLOSE_PERIOD)
def close(request: HttpRequest) -> HttpResponse:
    """Closes the month whose figures were looked at, for ever."""
    form = CloseForm(request.POST)
    if not form.is_valid():
        messages.error(request, "The page lost which month it showed. Open the month again, then close it.")
        return redirect("balance")
    span = Span.month_of(form.cleaned_data["month"])
    there = scope.periods(request.user).filter(month=span.first).first()
    if there and there.closed_at:
        messages.info(request, f"{span.first:%Y-%m} is closed, by {there.closed_by}.")
        return redirect(span.url)
    if form.cleaned_data["seen"] != _seal(queries.balance_document(span.first, span.last)):
        messages.error(request, "Something was recorded in this month since you opened it. Look at the figures again.")
        return redirect(span.url)
    try:
        close_period(month=span.first, by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        messages.success(request, f"{span.first:%Y-%m} is closed. Nothing can be recorded with a date in it.")
    return redirect(span.url)


def _page(request: HttpRequest, form: SpanForm, span: Span | None) -> HttpResponse:
    months = MonthTable(scope.periods(request.user).select_related("closed_by").order_by("-month"), prefix="month-")
    tables.RequestConfig(request, paginate={"per_page": MONTHS_A_PAGE}).configure(months)
    context = {"form": form, "months": months}
    if span:
        context |= _balance(request, span) | _closing(request, span)
    return render(request, "staff/balance/show.html", context)


def _balance(request: HttpRequest, span: Span) -> dict:
    found = queries.balance(span.first, span.last)
    lines = lines_of(found)
    unvalued = UnvaluedTable([{"lot": lot, "mg": mg} for lot, mg in found.unvalued.items()], prefix="lot-")
    tables.RequestConfig(request, paginate={"per_page": LOTS_A_PAGE}).configure(unvalued)
    damaged = [name for name in COLUMNS if found.columns[name].unexplained]
    return {
        "under": f"{span.first} to {span.last}, both included",
        "actions": [
            Action(label=f"{span.before.first:%Y-%m}", url=span.before.url),
            Action(label=f"{span.after.first:%Y-%m}", url=span.after.url),
        ],
        "table": balance_table(found, lines),
        "unvalued": unvalued if found.unvalued else None,
        "damaged": f"The book does not add up in {', '.join(damaged)}. Have it verified." if damaged else "",
    } | _picture(request, span, lines, found)


def _picture(request: HttpRequest, span: Span, lines: list[Line], found: queries.Balance) -> dict:
    """One metal's way through the span: what came at the left, what went and what is left at the right."""
    metals = [metal for metal in METALS if any(line.amounts[COLUMNS.index(metal)] for line in lines)]
    if not metals:
        return {}
    asked = request.GET.get("metal")
    metal = asked if asked in metals else metals[0]
    column = COLUMNS.index(metal)
    closing = Line("Closing", "stock", (-found.columns[metal].closing,) * len(COLUMNS))
    nodes, links = [flow.Node("book", ("the book", metal), "lot", 1)], []
    for position, line in enumerate([*lines, closing]):
        mg, key = line.amounts[column], f"line {position}"
        if mg:
            words = tuple(line.words.split(": ", 1))
            nodes.append(flow.Node(key, words, line.kind, 0 if mg > 0 else 2))
            links.append(flow.Link(key, "book", mg, metal) if mg > 0 else flow.Link("book", key, -mg, metal))
    picture = flow.layout(nodes, links)
    words = flow.sentences(picture.nodes, picture.links)
    title = f"{metal} from {span.first} to {span.last}"
    others = [one for one in metals if one != metal]
    return {
        "flow_title": title,
        "flow_svg": flow.svg(picture, title=title, desc="; ".join(words), key="picture"),
        "other_pictures": [Action(label=f"Draw {one}", url=f"{span.url}&metal={one}") for one in others],
    }


def _closing(request: HttpRequest, span: Span) -> dict:
    """Standing of a whole month, and for who may close it the way to do so once it is over."""
    if not span.month:
        return {}
    period = scope.periods(request.user).filter(month=span.month).first()
    standing = {"status": standing_of(period), "tone": "good" if standing_of(period) == "closed" else "plain"}
    over = span.last < timezone.localdate()
    if standing["status"] == "closed" or not over or not may(request.user.roles, Verb.CLOSE_PERIOD):
        return standing
    document = queries.balance_document(span.first, span.last)
    earlier = scope.periods(request.user).filter(month__lt=span.month, closed_at__isnull=True).order_by("month")
    facts = [Fact(label=f"Closing {metal}", mg=column["closing"]) for metal, column in document["metals"].items()]
    facts = [Fact(label="Closing gross", mg=document["gross"]["closing"]), *(fact for fact in facts if fact.mg)]
    facts.append(Fact(label="Of it not valued", mg=document["unvalued_gross"]))
    if earlier:
        words = ", ".join(f"{one.month:%Y-%m}" for one in earlier[:MONTHS_A_PAGE])
        facts.append(Fact(label="Earlier months still open", value=words))
    return standing | {
        "closing": {
            "title": f"Close {span.month:%Y-%m}",
            "sentence": "Nothing can be recorded with a date in this month any more: a late assay or count goes into"
            " the open month and names the day it is about. A closed month never opens again.",
            "facts": facts,
            "form": CloseForm(initial={"month": span.month, "seen": _seal(document)}),
            "action_url": reverse("balance-close"),
        }
    }


def _seal(document: dict) -> str:
    """Tells whether the figures are those that were looked at."""
    return hashlib.sha256(json.dumps(document, sort_keys=True).encode()).hexdigest()
