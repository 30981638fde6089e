"""The people desk: who has a login, and what each may do."""

import django_tables2 as tables
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from custody.actions.people import add_person, set_roles
from custody.errors import Refusal
from custody.models import User
from custody.queries import scope
from custody.roles import Verb
from custody.staff.people_forms import PersonForm, RolesForm
from custody.staff.people_tokens import tokens_panel
from custody.terms import Role
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, LotColumn, StatusColumn

PEOPLE_A_PAGE = 50
TONES = {"open": "good", "closed": "stop"}


class OpenColumn(StatusColumn):
    """Whether a login is open, in words."""

    def render(self, value):
        return super().render(_standing(value))


class PeopleTable(BaseTable):
    """Everybody with a login."""

    caption = "Logins"
    username = LotColumn(verbose_name="Login", viewname="person", argument="username")
    name = tables.Column(verbose_name="Name", accessor="get_full_name", order_by=("first_name", "last_name"))
    roles = tables.Column(verbose_name="Roles", orderable=False, empty_values=())
    party = tables.Column(verbose_name="Customer of", accessor="party__name", default="works here", orderable=False)
    standing = OpenColumn(verbose_name="Login is", accessor="is_active", tones=TONES)

    def render_roles(self, record):
        return _role_words(record) or "none"


@require_safe
@needs(Verb.MANAGE_PEOPLE)
def people(request: HttpRequest) -> HttpResponse:
    """The list of people."""
    table = PeopleTable(scope.people(request.user).select_related("party").prefetch_related("role_grants"))
    tables.RequestConfig(request, paginate={"per_page": PEOPLE_A_PAGE}).configure(table)
    actions = [Action(label="Add a person", url=reverse("person-add"), tone="main")]
    return render(request, "staff/people/list.html", {"table": table, "actions": actions})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.MANAGE_PEOPLE)
def add(request: HttpRequest) -> HttpResponse:
    """Adds a person."""
    form = PersonForm(request.POST or None, parties=scope.parties(request.user))
    if request.method == "POST" and form.is_valid():
        try:
            user = add_person(
                username=form.cleaned_data["username"],
                full_name=form.cleaned_data["full_name"],
                password=form.cleaned_data["password"],
                roles=form.roles_chosen,
                party=form.cleaned_data["party"],
                by=request.user,
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"{user} has a login now.")
            return redirect("person", user.username)
    return render(request, "staff/people/add.html", {"form": form, "cancel_url": reverse("people")})


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Verb.MANAGE_PEOPLE)
def person(request: HttpRequest, username: str) -> HttpResponse:
    """One person: roles, and whether the login is open."""
    one = get_object_or_404(scope.people(request.user).select_related("party"), username=username)
    form = RolesForm(request.POST or None, person=one)
    if request.method == "POST" and form.is_valid():
        try:
            set_roles(
                user=one,
                roles=form.roles_chosen,
                active=form.cleaned_data["active"],
                seen=form.cleaned_data["seen"],
                by=request.user,
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            words = _role_words(one) or "no role"
            messages.success(request, f"{one}: {words}; the login is {_standing(one.is_active)}.")
            return redirect("person", one.username)
    panels = {"panel": _panel(one), "tokens": tokens_panel(one)}
    context = {"person": one, "form": form, "cancel_url": reverse("people"), **panels}
    return render(request, "staff/people/person.html", context)


def _role_words(user: User) -> str:
    return ", ".join(sorted(role.label for role in user.roles))


def _standing(active: bool) -> str:
    return "open" if active else "closed"


def _panel(user: User) -> Panel:
    standing = _standing(user.is_active)
    facts = [
        Fact(label="Login", value=user.username),
        Fact(label="Login is", value=standing, tone=TONES[standing]),
        Fact(label="Last signed in", value="never", at=user.last_login),
    ]
    if user.party:
        url = reverse("party", kwargs={"code": user.party.code})
        facts.append(Fact(label="Customer of", value=user.party.name, url=url))
    facts += [
        Fact(label=Role(grant.role).label.capitalize(), value=f"given by {grant.granted_by or 'the setting up'}")
        for grant in user.role_grants.select_related("granted_by")
    ]
    return Panel(title="Standing", facts=facts)
