"""A program's connection to the API, in the name of one person."""

import json

import pytest
from django.test import Client

from custody.actions.people import add_person
from custody.actions.tokens import make_token
from custody.models import User
from custody.terms import Role
from tests import builders, people


class Program:
    """A program that sends requests with one person's token; a body is JSON, or text as it is."""

    def __init__(self, person: User, **headers: str) -> None:
        self.person = person
        self.token, self.row = make_token(user=person, by=None)
        self.headers = {"Authorization": f"Bearer {self.token}"} | headers
        self.client = Client(raise_request_exception=False, enforce_csrf_checks=True)

    def get(self, address, **headers):
        return self.client.get(f"/api/{address}", headers=self.headers | headers)

    def post(self, address, body, key="k-1", **headers):
        said = self.headers | ({"Idempotency-Key": key} if key is not None else {}) | headers
        data = body if isinstance(body, str | bytes) else json.dumps(body)
        content_type = said.pop("Content-Type", "application/json")
        return self.client.post(f"/api/{address}", data, content_type=content_type, headers=said)


@pytest.fixture
def program(db):
    """program(person): a program with a new token of this person's."""
    return Program


def does_all() -> User:
    """Somebody who works every desk but signs for nobody."""
    working = [role for role in Role if role not in (Role.MANAGER, Role.AUDITOR, Role.CUSTOMER)]
    return User.objects.filter(username="alma").first() or add_person(
        username="alma", full_name="Alma Both", password=people.PASSWORD, roles=working, by=people.mona_manager()
    )


@pytest.fixture
def house(db):
    builders.places()
    for code in people.PARTIES:
        people.party(code)


@pytest.fixture
def alma(house):
    return Program(does_all())
