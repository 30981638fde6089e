"""The bar shop: strips and blanks in hand with their next step, and the ways to bars, types and serials."""

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.views.decorators.http import require_safe

from custody.queries import bar_shop
from custody.roles import Verb, may
from custody.staff.plant.bar_work import WORKS
from custody.terms import Form
from custody.web.access import needs
from custody.web.panels import Action
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn

#: What a strip or a blank usually takes next.
NEXT = {Form.STRIP: ("roll", "punch", "anneal"), Form.BLANK: ("anneal", "adjust", "stamp")}
LABELS = {slug: one.title for slug, one in WORKS.items()} | {"stamp": "Stamp bars"}


class InHandTable(BaseTable):
    caption = "Strips and blanks in your custody"
    empty_text = "None. Cast strip, or cast blanks with the bars."
    made_by = LotColumn(verbose_name="Made by", viewname="operation", accessor="operation")
    kind = tables.Column("Step")
    form = tables.Column("What")
    count = FigureColumn("Lots")
    gross = MassColumn("Together", accessor="gross_sum")
    at = MomentColumn("Since")
    then = tables.Column("Next", empty_values=())

    class Meta:
        orderable = False

    def render_form(self, value):
        return Form(value).label

    def render_then(self, record):
        actions = [
            Action(label=LABELS[slug], url=f"{reverse('bar-work', args=[slug])}?of={record['operation']}")
            for slug in NEXT[Form(record["form"])]
        ]
        return render_to_string("ui/actions.html", {"actions": actions})


@require_safe
@needs(Verb.READ_BOOK)
def bars(request: HttpRequest) -> HttpResponse:
    """What is in hand, and where to go on."""
    found = [("Bar types", reverse("bar-types")), ("Serials", reverse("serials"))]
    casts = may(request.user.roles, Verb.CAST)
    if casts:
        found = [
            ("Cast strip", reverse("bar-work", args=["cast-strip"])),
            ("Cast bars", reverse("cast")),
            ("Stamp bars", reverse("bar-work", args=["stamp"])),
            *found,
        ]
    actions = [Action(label=label, url=url) for label, url in found]
    table = InHandTable(bar_shop.in_hand(request.user)) if casts else None
    if table:
        tables.RequestConfig(request, paginate={"per_page": 30}).configure(table)
    return render(request, "staff/plant/bars.html", {"table": table, "actions": actions})
