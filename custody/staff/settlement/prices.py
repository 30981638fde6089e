"""The table of prices: those that stand, drawn over their days, and everything that was entered for one day."""

from collections.abc import Sequence

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_safe

from custody.documents import price_chart
from custody.models import Price, User
from custody.queries import prices as queries
from custody.queries import scope
from custody.roles import Verb, may
from custody.staff.settlement.price_forms import PriceFilter, last_days
from custody.staff.settlement.price_tables import HistoryTable, PriceTable, figure, standing_of
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

A_PAGE = {"per_page": 25}
#: More prices than these are not told apart in a picture: the last ones are drawn.
DRAWN = 400


@require_safe
@needs(Verb.READ_BOOK)
def price_list(request: HttpRequest) -> HttpResponse:
    """Prices by metal, currency, fixing and days; those of one kind are drawn too."""
    form = _filter(request)
    found = queries.table(request.user, **form.narrowed) if form.is_valid() else Price.objects.none()
    table = PriceTable(found)
    tables.RequestConfig(request, paginate=A_PAGE).configure(table)
    waiting = queries.doubtful_prices(request.user).count()
    return render(
        request,
        "staff/settlement/prices.html",
        {
            "form": form,
            "table": table,
            "actions": _actions(request.user, waiting),
            "waiting": waiting,
            **_drawn(found),
        },
    )


@require_safe
@needs(Verb.READ_BOOK)
def one_price(request: HttpRequest, pk: int) -> HttpResponse:
    """One price with everything that was entered for its day."""
    price = get_object_or_404(
        scope.prices(request.user).select_related("confirmation__by", "by", "before", "imported", "replaced_by"), pk=pk
    )
    history = list(queries.history_of(price, request.user))
    word, tone = standing_of(price)
    actions = []
    if price == history[0] and may(request.user.roles, Verb.KEEP_PRICES):
        actions.append(Action(label="Replace it", url=f"{reverse('price-enter')}?like={price.pk}"))
    if word == "doubtful" and may(request.user.roles, Verb.CONFIRM_PRICES) and price.by != request.user:
        actions.append(Action(label="Confirm", url=reverse("prices-doubtful"), tone="main"))
    return render(
        request,
        "staff/settlement/price.html",
        {
            "price": price,
            "standing": word,
            "tone": tone,
            "actions": actions,
            "panel": _panel(price),
            "latest": history[0],
            "history": HistoryTable(history),
        },
    )


def _filter(request: HttpRequest) -> PriceFilter:
    """What is asked; nobody having asked, the last days of what was entered last."""
    named = queries.named(request.user)
    asked = request.GET if any(name in request.GET for name in PriceFilter.base_fields) else None
    if asked is None:
        latest = scope.prices(request.user).order_by("-id").first()
        of_latest = {name: getattr(latest, name) for name in ("metal", "currency", "fixing")} if latest else {}
        asked = last_days() | of_latest
    return PriceFilter(asked, named=named)


def _actions(viewer: User, waiting: int) -> list[Action]:
    actions = []
    if may(viewer.roles, Verb.KEEP_PRICES):
        actions = [
            Action(label="Enter a price", url=reverse("price-enter"), tone="main"),
            Action(label="Read a file", url=reverse("prices-import")),
        ]
    return [
        *actions,
        Action(label=f"Doubtful prices ({waiting})", url=reverse("prices-doubtful")),
        Action(label="Limits", url=reverse("price-limits")),
    ]


def _drawn(found) -> dict:
    """The picture of prices of one metal, currency, fixing and unit; nothing where several are shown."""
    kinds = list(found.order_by().values_list("metal", "currency", "fixing", "per").distinct()[:2])
    if len(kinds) != 1:
        return {"picture": "", "several": len(kinds) > 1}
    metal, currency, fixing, per = kinds[0]
    rows = list(found.order_by("-day")[:DRAWN])[::-1]
    points = [price_chart.Point(row.day, row.amount, queries.is_sure(row)) for row in rows]
    unit = f"{currency}/{per}"
    title = f"{metal} in {unit}, {fixing}"
    return {
        "picture": price_chart.svg(points, title=title, desc=_in_words(points, unit), unit=unit),
        "picture_title": title,
        "in_words": _in_words(points, unit),
    }


def _in_words(points: Sequence[price_chart.Point], unit: str) -> str:
    first, last = points[0], points[-1]
    low, high = (pick(points, key=lambda one: one.amount) for pick in (min, max))
    told = [f"{figure(first.amount)} {unit} on {first.day}"]
    if last.day != first.day:
        told = [
            f"From {told[0]} to {figure(last.amount)} on {last.day}; lowest {figure(low.amount)} on {low.day},"
            f" highest {figure(high.amount)} on {high.day}"
        ]
    doubtful = [str(one.day) for one in points if not one.sure]
    if doubtful:
        told.append(f"Doubtful, drawn as diamonds beside the line: {', '.join(doubtful)}")
    return ". ".join(told) + "."


def _panel(price: Price) -> Panel:
    facts = [
        Fact(label="Price", value=f"{figure(price.amount)} {price.currency}/{price.per}"),
        Fact(label="Source", value=price.source),
        Fact(label="Entered by", value=str(price.by)),
        Fact(label="Entered", at=price.at),
        Fact(label="How", value=render_to_string("staff/settlement/price_how.html", {"imported": price.imported})),
    ]
    if price.before:
        was = price.before
        facts.append(Fact(label="Judged against", value=f"{figure(was.amount)} {was.currency}/{was.per}, {was.day}"))
    if hasattr(price, "confirmation"):
        word = price.confirmation
        facts += [Fact(label="Confirmed by", value=str(word.by)), Fact(label="Because", value=word.note)]
    return Panel(title="This price", facts=facts)
