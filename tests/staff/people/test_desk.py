"""The people desk: a manager's alone, one row a person, nothing typed is lost but the password."""

import json
import re

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from custody.actions.people import set_roles
from custody.actions.tokens import make_token
from custody.models import ApiToken, User
from custody.queries.tokens import holder_of
from custody.terms import Role
from tests import people

pytestmark = pytest.mark.django_db

PAGES = ("/people/", "/people/add/", "/people/login/otto/")
KEY = "6f9619ff-8b86-4d01-b42d-00cf4fc964ff"
NEW = {
    "request_key": KEY,
    "full_name": "Nils Rake",
    "username": "nils",
    "password": people.PASSWORD,
    "roles": ["sampler", "vault keeper"],
    "party": "",
}


@pytest.fixture
def manager():
    people.otto_operator()
    return people.signed_in(people.mona_manager())


def seen(*roles: str, active: bool = True) -> str:
    return json.dumps([sorted(roles), active])


@pytest.mark.parametrize("page", PAGES)
def test_the_desk_is_the_managers(manager, page):
    for who in people.EVERYBODY:
        client, expected = people.signed_in(who()), 200 if who is people.mona_manager else 403
        assert client.get(page).status_code == expected, who.__name__
        if expected == 403 and page != "/people/":
            assert client.post(page, NEW).status_code == 403, who.__name__
    assert Client().get(page).url.startswith("/sign-in/?next=/people/")
    assert not User.objects.filter(username="nils").exists()


def test_a_person_is_added_once(manager):
    for _ in range(2):
        assert manager.post("/people/add/", NEW).url == "/people/login/nils/"
    nils = User.objects.get(username="nils")
    assert (str(nils), nils.roles, nils.party) == ("Nils Rake", {Role.SAMPLER, Role.VAULT}, None)
    assert nils.check_password(people.PASSWORD)


def test_a_customer_is_added_by_the_party(manager):
    party = people.party()
    assert manager.post("/people/add/", NEW | {"roles": [], "party": party.pk}).status_code == 302
    nils = User.objects.get(username="nils")
    assert (nils.roles, nils.party) == ({Role.CUSTOMER}, party)


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"username": "otto"}, "There is a login otto already. Choose another."),
        ({"username": "Nils Rake"}, "Write the login in small letters, digits and hyphens"),
        ({"password": "tiny"}, "This password is too short."),
        ({"username": "nils-rake", "password": "nils-rake-1"}, "too similar to the username"),
        ({"roles": []}, "Give at least one role"),
        ({"roles": ["king"]}, "king"),
        ({"roles": ["customer"]}, "customer is not one of the available choices"),
        ({"full_name": ""}, "Full name is missing."),
        ({"party": "99"}, "not one of the available choices"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_typed_stays(manager, changed, sentence):
    page = manager.post("/people/add/", NEW | changed).content.decode()
    assert sentence in page
    assert (NEW | changed)["username"] in page
    assert (NEW | changed)["password"] not in page
    assert not User.objects.filter(username__startswith="nils").exists()


def test_a_customer_has_no_role_in_the_house(manager):
    page = manager.post("/people/add/", NEW | {"party": people.party().pk}).content.decode()
    assert "A customer has no role in the house" in page


def test_roles_are_given_and_the_login_is_closed(manager):
    otto = people.signed_in(people.otto_operator())
    assert otto.get("/").status_code == 200
    entry = {"request_key": KEY, "seen": seen("plant operator"), "roles": ["assayer"]}
    answer = manager.post("/people/login/otto/", entry, follow=True)
    assert "Otto Flux: assayer; the login is closed." in answer.content.decode()
    assert "given by Mona Ravn" in answer.content.decode()
    assert otto.get("/").status_code == 302  # signed out on the spot
    assert User.objects.get(username="otto").roles == {Role.ASSAYER}


def test_what_another_manager_changed_is_not_overwritten(manager):
    set_roles(user=people.otto_operator(), roles=[Role.VAULT], active=True, by=people.max_manager())
    entry = {"request_key": KEY, "seen": seen("plant operator"), "roles": ["assayer"], "active": "on"}
    assert "Somebody else changed this person" in manager.post("/people/login/otto/", entry).content.decode()
    assert User.objects.get(username="otto").roles == {Role.VAULT}


@pytest.mark.parametrize("lost", ["", "x", "[]", "[1, true]", '[["king"], true]', "null"])
def test_a_page_that_lost_what_it_showed_changes_nothing(manager, lost):
    entry = {"request_key": KEY, "seen": lost, "roles": ["assayer"], "active": "on"}
    assert manager.post("/people/login/otto/", entry).status_code == 200
    assert people.otto_operator().roles == {Role.OPERATOR}


def test_a_customers_login_is_only_opened_or_closed(manager):
    people.cora_customer()
    assert b'name="roles"' not in manager.get("/people/login/cora/").content
    entry = {"request_key": KEY, "seen": seen("customer"), "roles": ["manager"]}
    assert manager.post("/people/login/cora/", entry).status_code == 302
    cora = User.objects.get(username="cora")
    assert (cora.roles, cora.is_active) == ({Role.CUSTOMER}, False)


def test_nobody_changes_their_own(manager):
    assert b"Nobody changes their own roles" in manager.get("/people/login/mona/").content
    entry = {"request_key": KEY, "seen": seen("manager"), "roles": ["manager", "auditor"], "active": "on"}
    assert b"Nobody changes their own roles" in manager.post("/people/login/mona/", entry).content
    assert people.mona_manager().roles == {Role.MANAGER}


def test_the_list_costs_the_same_for_many(manager):
    def cost():
        with CaptureQueriesContext(connection) as queries:
            page = manager.get("/people/").content.decode()
        return len(queries), page

    few, _ = cost()
    for who in people.EVERYBODY:
        who()
    many, page = cost()
    assert many == few
    for words in ("Fiona Marl", "front desk", "Tern Valley Placer Cooperative", "works here"):
        assert words in page


def test_a_login_that_is_not_there_is_not_there(manager):
    assert manager.get("/people/login/nobody/").status_code == 404


def test_a_token_is_shown_once_and_revoked(manager):
    address = "/people/login/otto/tokens/"
    page = manager.post(address, {"seen": "0"})
    (token,) = re.findall(rb">([0-9a-f]{64})<", page.content)
    assert "no-store" in page.headers["Cache-Control"]
    assert holder_of(token.decode()) == people.otto_operator()
    again = manager.post(address, {"seen": "0"}, follow=True).content.decode()  # the form sent twice
    assert "was made meanwhile" in again
    assert f"{token.decode()[:8]}…" in again
    assert token.decode() not in again
    (one,) = ApiToken.objects.all()
    page = manager.post(f"{address}{one.pk}/revoke/", follow=True).content.decode()
    assert "is revoked" in page
    assert holder_of(token.decode()) is None


def test_a_closed_login_gets_no_token(manager):
    set_roles(user=people.otto_operator(), roles=[Role.OPERATOR], active=False, by=people.mona_manager())
    assert "Make a token" not in manager.get("/people/login/otto/").content.decode()
    assert "is closed" in manager.post("/people/login/otto/tokens/", {"seen": "0"}, follow=True).content.decode()
    assert not ApiToken.objects.exists()


def test_tokens_are_the_managers_to_give(manager):
    make_token(user=people.otto_operator(), by=None)
    one = ApiToken.objects.get()
    for who in people.EVERYBODY:
        client = people.signed_in(who())
        if who is not people.mona_manager:
            assert client.post("/people/login/otto/tokens/", {"seen": "9"}).status_code == 403, who.__name__
            assert client.post(f"/people/login/otto/tokens/{one.pk}/revoke/").status_code == 403, who.__name__
    assert manager.post(f"/people/login/mona/tokens/{one.pk}/revoke/").status_code == 404  # it is another person's
    assert manager.get("/people/login/otto/tokens/").status_code == 405
    assert ApiToken.objects.get().revoked_at is None
