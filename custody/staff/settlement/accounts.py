"""Metal accounts: what the house owes whom in metal, and whether it holds it."""

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from custody.calc.mass import format_grams
from custody.models import Party
from custody.queries import accounts as queries
from custody.queries import scope
from custody.roles import Verb
from custody.staff.settlement.tables import ClaimsTable, CoverTable, EntryTable, metal_balances
from custody.terms import METALS
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel

A_PAGE = {"per_page": 50}


@require_safe
@needs(Verb.READ_BOOK)
def accounts(request: HttpRequest) -> HttpResponse:
    """Balances of all parties, and the house's cover."""
    claims = queries.claims(request.user)
    cover = queries.cover()
    owed = [metal for i, metal in enumerate(METALS) if any(line.balances_mg[i] for line in claims)]
    table = ClaimsTable(claims, extra_columns=metal_balances(owed))
    tables.RequestConfig(request, paginate=A_PAGE).configure(table)
    return render(
        request,
        "staff/settlement/accounts.html",
        {
            "cover": CoverTable(cover),
            "answer": _answer(cover),
            "covered": all(line.over_mg >= 0 for line in cover),
            "claims": table,
        },
    )


@require_safe
@needs(Verb.READ_BOOK)
def account(request: HttpRequest, code: str) -> HttpResponse:
    """One party's accounts, entry by entry."""
    party = get_object_or_404(scope.parties(request.user), code=code)
    entries = EntryTable(queries.entries_of(party))
    tables.RequestConfig(request, paginate=A_PAGE).configure(entries)
    return render(
        request,
        "staff/settlement/account.html",
        {"party": party, "panel": _panel(party), "entries": entries},
    )


def _answer(cover: list[queries.Cover]) -> str:
    """In words: whether metal in the house covers what it owes."""
    owed = [line for line in cover if line.owed_mg]
    short = [f"{format_grams(-line.over_mg)} g {line.metal}" for line in owed if line.over_mg < 0]
    if short:
        return f"No: the house is short of {', '.join(short)} to cover what it owes."
    if not owed:
        return "The house owes nobody any metal."
    over = ", ".join(f"{format_grams(line.over_mg)} g {line.metal}" for line in owed)
    return f"Yes: metal in the house covers every claim, with {over} over."


def _panel(party: Party) -> Panel:
    balances = [Fact(label=f"Owed, {one.metal}", mg=one.balance_mg) for one in queries.accounts_of(party)]
    return Panel(
        title="The house owes",
        facts=balances or [Fact(label="Metal", value="none")],
        actions=[Action(label="Party", url=reverse("party", args=[party.code]))],
    )
