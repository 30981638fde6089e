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
from custody.terms import Role
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, LotColumn, StatusColumn


class PeopleTable(BaseTable):
    """Everybody with a login."""

    caption = "People"
    username = LotColumn(verbose_name="Login", viewname="person", argument="username")
    name = tables.Column(verbose_name="Name")
    roles = tables.Column(verbose_name="Roles", orderable=False)
    party = tables.Column(verbose_name="Party", orderable=False)
    standing = StatusColumn(verbose_name="Login is", tones={"open": "good", "closed": "stop"})


@require_safe
@needs(Verb.MANAGE_PEOPLE)
def people(request: HttpRequest) -> HttpResponse:
    """The list of people."""
    found = User.objects.select_related("party").prefetch_related("role_grants").order_by("username")
    rows = [
        {
            "username": user.username,
            "name": str(user),
            "roles": ", ".join(sorted(role.label for role in user.roles)) or "none",
            "party": user.party.name if user.party else "",
            "standing": "open" if user.is_active else "closed",
        }
        for user in found
    ]
    actions = [Action(label="Add a person", url=reverse("person-add"), tone="main")]
    table = PeopleTable(rows)
    tables.RequestConfig(request, paginate={"per_page": 50}).configure(table)
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
                roles=form.roles_chosen(),
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
    user = get_object_or_404(User.objects.select_related("party"), username=username)
    initial = {"roles": [str(role) for role in user.roles], "active": user.is_active}
    form = RolesForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            set_roles(user=user, roles=form.roles_chosen(), active=form.cleaned_data["active"], by=request.user)
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            messages.success(request, f"The roles of {user} are changed.")
            return redirect("person", user.username)
    return render(request, "staff/people/person.html", {"person": user, "form": form, "panel": _panel(user)})


def _panel(user: User) -> Panel:
    granted = [
        f"{Role(grant.role).label}, by {grant.granted_by}" if grant.granted_by else Role(grant.role).label
        for grant in user.role_grants.select_related("granted_by")
    ]
    return Panel(
        title="Standing",
        facts=[
            Fact(label="Login", value=user.username),
            Fact(label="Party", value=user.party.name if user.party else "of the house"),
            Fact(label="Roles given", value="; ".join(granted) or "none"),
            Fact(
                label="Login is",
                value="open" if user.is_active else "closed",
                tone="good" if user.is_active else "stop",
            ),
        ],
    )
