"""Exchanges of assays: lots that wait for one, those that are on and those that were."""

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from custody.actions.exchanges import KEEPS, open_exchange
from custody.calc.fineness import format_per_mille
from custody.errors import Refusal
from custody.models import ExchangeTerms
from custody.queries import exchanges as queries
from custody.queries import scope
from custody.queries.exchanges import Standing
from custody.roles import Verb, may
from custody.staff.exchange.tables import DueTable, ExchangeTable
from custody.web.access import needs
from custody.web.forms import BaseForm, KitForm
from custody.web.panels import Fact

A_PAGE = {"per_page": 25}


class ExchangeFilter(KitForm):
    """Which exchanges a list shows."""

    mark_optional = False
    standing = forms.ChoiceField(label="Standing", choices=Standing.choices(), required=False)
    q = forms.CharField(label="Exchange, lot or party", required=False, max_length=100)


@require_safe
@needs(Verb.READ_BOOK)
def exchanges(request: HttpRequest) -> HttpResponse:
    """Lots that wait for an exchange, and every exchange with where it stands."""
    form = ExchangeFilter(request.GET if {"standing", "q"} & set(request.GET) else None)
    asked = form.cleaned_data if form.is_valid() else {}
    due = DueTable(queries.due(request.user), prefix="due-")
    found = ExchangeTable(queries.listed(request.user, asked.get("standing", ""), asked.get("q", "")), prefix="all-")
    for table in (due, found):
        tables.RequestConfig(request, paginate=A_PAGE).configure(table)
    found.look_up()
    may_open = any(may(request.user.roles, verb) for verb in KEEPS)
    context = {"form": form, "due": due, "exchanges": found, "may_open": may_open}
    return render(request, "staff/exchange/exchanges.html", context)


@require_http_methods(["GET", "POST"])
@needs(*KEEPS)
def open_one(request: HttpRequest, number: str) -> HttpResponse:
    """Opens the exchange of a lot's assays."""
    lot = get_object_or_404(scope.lots(request.user).select_related("receipt__party"), number=number)
    known = queries.exchange_of(lot)
    if known:
        return redirect("exchange", number=known.number)
    terms = queries.terms_due(lot)
    form = BaseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = open_exchange(
                lot=lot, at=timezone.now(), by=request.user, request_key=form.cleaned_data["request_key"]
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"Exchange {made.number} of lot {lot.number} with {made.party} is open.")
            return redirect("exchange", number=made.number)
    context = {"lot": lot, "terms": terms, "form": form, "facts": terms_facts(terms) if terms else []}
    return render(request, "staff/exchange/open.html", context | {"cancel_url": reverse("exchanges")})


def terms_facts(terms: ExchangeTerms) -> list[Fact]:
    """Exchange terms in words."""
    limits = ", ".join(f"{metal} {format_per_mille(ppm)} ‰" for metal, ppm in terms.limits_ppm.items())
    days = f"{terms.days} days after the refinery's, or the refinery's counts alone" if terms.days else "no end set"
    return [
        Fact(label="With", value=terms.party, url=reverse("party", args=[terms.party.code])),
        Fact(label="Terms from", value=terms.valid_from.isoformat()),
        Fact(label="Splitting limits", value=limits),
        Fact(label="Inside", value="the mean of both"),
        Fact(label="Outside", value=terms.get_rule_display()),
        Fact(label="Umpire", value=terms.umpire or "agreed when needed"),
        Fact(label="The umpire is paid by", value="the party farther from it; midway, half each"),
        Fact(label="Customer's result", value=days),
    ]
