"""What a customer sees: its own deliveries and how far they have come, its papers, the bars delivered to it."""

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.http import require_safe

from custody.models import Operation
from custody.portal.tables import TONES, BarTable, DeliveryTable, ExchangeTable, PaperTable
from custody.queries import own
from custody.queries.exchanges import listed
from custody.queries.parcel_stages import STAGES, Progress, progress
from custody.roles import Verb
from custody.templatetags.metal import local_day
from custody.web.access import needs
from custody.web.panels import Fact, Panel, Step

A_PAGE = {"per_page": 25}


@require_safe
@needs(Verb.READ_OWN)
def deliveries(request: HttpRequest) -> HttpResponse:
    """The customer's first page."""
    viewer = request.user
    receipts = DeliveryTable(own.receipts(viewer), prefix="deliveries-")
    bars = BarTable(own.bars(viewer), prefix="bars-")
    exchanges = ExchangeTable(listed(viewer), prefix="exchanges-")
    for table in (receipts, bars, exchanges):
        tables.RequestConfig(request, paginate=A_PAGE).configure(table)
    receipts.look_up()
    bars.look_up(viewer)
    exchanges.look_up()
    return render(
        request,
        "portal/deliveries.html",
        {"party": viewer.party, "receipts": receipts, "bars": bars, "exchanges": exchanges},
    )


@require_safe
@needs(Verb.READ_OWN)
def delivery(request: HttpRequest, number: str) -> HttpResponse:
    """One delivery: the way of each parcel, and its papers."""
    receipt = get_object_or_404(own.receipts(request.user), number=number)
    lines = progress([receipt])[receipt.pk]
    return render(
        request,
        "portal/delivery.html",
        {
            "receipt": receipt,
            "panel": _panel(receipt, lines),
            "parcels": [
                {"line": line, "steps": _steps(line), "tone": TONES.get(line.stage, "plain")} for line in lines
            ],
            "papers": PaperTable(own.papers_of(receipt, request.user)),
        },
    )


def _panel(receipt: Operation, lines: list[Progress]) -> Panel:
    return Panel(
        title="What you delivered",
        facts=[
            Fact(label="Received", at=receipt.at),
            Fact(label="Delivered by", value=receipt.delivered_by),
            Fact(label="Received by", value=str(receipt.by)),
            Fact(label="Parcels", value=str(len(lines))),
            Fact(label="Net weight", mg=sum(line.received_mg for line in lines)),
        ],
    )


def _steps(line: Progress) -> list[Step]:
    """The stations of a parcel; those it passed by without stopping, and a return that isn't meant, are left out."""
    furthest = STAGES.index(line.stage)
    shown = [
        stage
        for number, stage in enumerate(STAGES)
        if stage in line.reached or (number > furthest and stage != "returned")
    ]
    return [
        Step(label=stage.capitalize(), state="done", note=local_day(line.reached[stage]))
        if stage in line.reached
        else Step(label=stage.capitalize())
        for stage in shown
    ]
