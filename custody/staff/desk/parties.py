"""Parties: found, entered, changed; the terms agreed with them; their receipts and metal accounts."""

from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from custody.actions.house import add_party, agree_terms, change_party
from custody.calc.countries import COUNTRIES
from custody.errors import Refusal
from custody.models import Party, User
from custody.queries import parties as queries
from custody.queries import scope
from custody.queries.exchanges import agreed_with
from custody.roles import Verb, may
from custody.staff.desk.party_forms import ChangedPartyForm, NewPartyForm, TermsForm
from custody.staff.desk.tables import PartyTable, ReceiptTable, TermsTable
from custody.staff.exchange.tables import ExchangeTermsTable
from custody.terms import METALS
from custody.web.access import needs
from custody.web.forms import KitForm
from custody.web.panels import Action, Fact, Panel

PARTIES_A_PAGE = 50
RECEIPTS_A_PAGE = 25


class PartyFilter(KitForm):
    """Words of a code or a name."""

    mark_optional = False
    q = forms.CharField(label="Code or name", required=False, max_length=100)


@require_GET
@needs(Verb.READ_BOOK)
def parties(request: HttpRequest) -> HttpResponse:
    """The list of parties, narrowed by words."""
    form = PartyFilter(request.GET if request.GET else None)
    words = form.cleaned_data["q"] if form.is_valid() else ""
    table = PartyTable(queries.listed(request.user, words))
    tables.RequestConfig(request, paginate={"per_page": PARTIES_A_PAGE}).configure(table)
    actions = [Action(label="New party", url=reverse("party-new"), tone="main")]
    keeps = may(request.user.roles, Verb.KEEP_PARTIES)
    return render(
        request, "staff/desk/parties.html", {"form": form, "table": table, "actions": actions if keeps else []}
    )


@require_GET
@needs(Verb.READ_BOOK)
def party(request: HttpRequest, code: str) -> HttpResponse:
    """The page of one party."""
    one = get_object_or_404(scope.parties(request.user), code=code)
    receipts = ReceiptTable(queries.receipts_of(request.user, one))
    tables.RequestConfig(request, paginate={"per_page": RECEIPTS_A_PAGE}).configure(receipts)
    receipts.settled_by = queries.settled_by([row.record for row in receipts.paginated_rows])
    return render(
        request,
        "staff/desk/party.html",
        {
            "party": one,
            "actions": _actions(one, request.user),
            "panels": [_facts(one), _account(one)],
            "terms": TermsTable(one.terms.select_related("agreed_by")),
            "exchange_terms": ExchangeTermsTable(agreed_with(one)),
            "receipts": receipts,
        },
    )


@require_http_methods(["GET", "POST"])
@needs(Verb.KEEP_PARTIES)
def new(request: HttpRequest) -> HttpResponse:
    """Enters a party."""
    form = NewPartyForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = add_party(code=form.cleaned_data["code"], by=request.user, **form.told)
        except Refusal as refusal:
            form.add_error("code", refusal.sentence)
        else:
            messages.success(request, f"{made.name} is entered as {made.code}.")
            return redirect("party", code=made.code)
    context = {"title": "New party", "form": form, "action_label": "Enter the party", "cancel_url": reverse("parties")}
    return render(request, "staff/desk/party_entry.html", context)


@require_http_methods(["GET", "POST"])
@needs(Verb.KEEP_PARTIES)
def change(request: HttpRequest, code: str) -> HttpResponse:
    """Changes who a party is, unless somebody else did meanwhile."""
    one = get_object_or_404(scope.parties(request.user), code=code)
    known = {name: getattr(one, name) for name in ("version", "name", "country", "address", "contact", "note")}
    form = ChangedPartyForm(request.POST or None, initial=known)
    if request.method == "POST" and form.is_valid():
        try:
            change_party(party=one, version=form.cleaned_data["version"], by=request.user, **form.told)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"{one.code} is changed.")
            return redirect("party", code=one.code)
    context = {
        "title": f"Change {one.code}",
        "form": form,
        "action_label": "Record the change",
        "cancel_url": reverse("party", kwargs={"code": one.code}),
    }
    return render(request, "staff/desk/party_entry.html", context)


@require_http_methods(["GET", "POST"])
@needs(Verb.SETTLE)
def terms(request: HttpRequest, code: str) -> HttpResponse:
    """Records terms agreed with a party; earlier ones stay and are shown as the starting point."""
    one = get_object_or_404(scope.parties(request.user), code=code)
    latest = one.terms.first()
    names = [name for name in TermsForm.base_fields if name not in ("request_key", "valid_from")]
    form = TermsForm(request.POST or None, initial={name: getattr(latest, name) for name in names} if latest else {})
    if request.method == "POST" and form.is_valid():
        try:
            agreed = agree_terms(party=one, by=request.user, **form.agreed)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"The terms with {one.code} from {agreed.valid_from} are recorded.")
            return redirect("party", code=one.code)
    context = {
        "title": f"Terms with {one.name}",
        "form": form,
        "action_label": "Record the terms",
        "cancel_url": reverse("party", kwargs={"code": one.code}),
    }
    return render(request, "staff/desk/party_entry.html", context)


def _actions(one: Party, viewer: User) -> list[Action]:
    found = []
    if may(viewer.roles, Verb.RECEIVE):
        found.append(
            Action(label="New receipt", url=f"{reverse('counter')}?{urlencode({'party': one.code})}", tone="main")
        )
    if may(viewer.roles, Verb.KEEP_PARTIES):
        found.append(Action(label="Change", url=reverse("party-change", args=[one.code])))
    if may(viewer.roles, Verb.SETTLE):
        found.append(Action(label="Agree terms", url=reverse("party-terms", args=[one.code])))
        found.append(Action(label="Agree exchange of assays", url=reverse("exchange-terms", args=[one.code])))
    return found


def _facts(one: Party) -> Panel:
    country = COUNTRIES.get(one.country, "")
    facts = [
        Fact(label="Code", value=one.code),
        Fact(label="Country", value=f"{one.country} {country}".strip()),
        Fact(label="Address", value=", ".join(line for line in one.address.splitlines() if line)),
        Fact(label="Contact", value=one.contact),
        Fact(label="Logins", value=", ".join(person.username for person in one.people.all())),
    ]
    return Panel(title="Who they are", facts=facts, note=one.note)


def _account(one: Party) -> Panel:
    accounts = sorted(queries.accounts_of(one), key=lambda account: METALS.index(account.metal))
    facts = [Fact(label=account.metal, mg=account.balance_mg) for account in accounts]
    return Panel(title="Metal account", facts=facts, note="" if facts else "The house owes no metal.")
