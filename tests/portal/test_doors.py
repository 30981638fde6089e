"""Every address of the staff's door, asked for by a customer and by nobody: none opens."""

import re
from uuid import UUID

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver
from django.urls.converters import IntConverter, UUIDConverter

from custody.roles import MAY, Verb
from custody.terms import Role
from tests import builders, people, settling


def patterns(resolver, before=""):
    """Every pattern with its whole route, the addresses of other doors left out."""
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            yield from patterns(entry, before + str(entry.pattern))
        elif isinstance(entry, URLPattern):
            yield before + str(entry.pattern), entry


STAFF = list(patterns(get_resolver("custody.staff.urls")))
NAMES = sorted(entry.name for _, entry in STAFF)
#: What an address takes that asks for a number of its own kind.
OF_KIND = {IntConverter: "1", UUIDConverter: str(UUID(int=0))}
#: The first page of the house sends a customer on to the customer's door.
SENT_ON = "today"


@pytest.fixture
def filled(db):
    """An address for each name, filled with what belongs to the very customer who asks."""
    lot = settling.bar_in_vault()
    values = {
        "number": lot.number,
        "code": "P-01",
        "username": people.vera_vault().username,
        "direction": "back",
    }
    special = {
        "receipt": builders.receipt_of(lot).number,
        "settle": builders.receipt_of(lot).number,
        "settlement": settling.settled(builders.valued(builders.received()[0])).number,
        "dispatched": settling.dispatched(lot).number,
    }

    def address(route, entry):
        for name, converter in entry.pattern.converters.items():
            value = values.get(name, "melt")
            value = special.get(entry.name, value) if name == "number" else value
            value = OF_KIND.get(type(converter), value)
            route = re.sub(rf"<\w+:{name}>", value, route)
        assert "<" not in route, f"{entry.name}: fill in {route}"
        return f"/{route}"

    return [(entry.name, address(route, entry)) for route, entry in STAFF]


def answers(client, address):
    """Status of a GET and a POST, the methods that the address does not know left out."""
    found = [client.get(address), client.post(address, {})]
    return [answer for answer in found if answer.status_code != 405]


def test_the_walk_meets_every_desk():
    assert {"today", "lot", "counter", "plant", "vault", "gate", "settle", "settlement", "trace", "people"} <= set(
        NAMES
    )
    assert len(set(NAMES)) == len(NAMES) > 30


def test_every_address_asks_for_a_right_that_no_customer_has():
    for route, entry in STAFF:
        verbs = getattr(entry.callback, "verbs", None)
        assert verbs, f"{route} is open to everybody"
        assert entry.name == SENT_ON or not MAY[Role.CUSTOMER].intersection(verbs), f"{route} opens to customers"
        assert all(isinstance(verb, Verb) for verb in verbs)


def test_a_customer_is_turned_away_everywhere(filled):
    for person in people.CUSTOMERS:
        client = people.signed_in(person())
        for name, address in filled:
            found = answers(client, address)
            assert found, f"{name} knows neither GET nor POST"
            if name == SENT_ON:
                assert {answer["Location"] for answer in found} == {"/my/"}
            else:
                assert {answer.status_code for answer in found} <= {403, 404}, (name, address)


def test_nobody_is_sent_to_the_sign_in(filled):
    client = Client()
    for name, address in filled:
        found = answers(client, address)
        assert found, f"{name} knows neither GET nor POST"
        for answer in found:
            assert answer.status_code == 302, (name, address)
            assert answer["Location"].startswith("/sign-in/?next="), (name, address)


def test_a_stranger_and_nobody_at_the_customers_door(db):
    (lot,) = builders.received()
    address = f"/my/receipt/{builders.receipt_of(lot).number}/"
    assert people.signed_in(people.cora_customer()).get(address).status_code == 200
    assert people.signed_in(people.stranger()).get(address).status_code == 404
    for mine in ("/my/", address, "/papers/1/", "/find/"):
        assert Client().get(mine)["Location"].startswith("/sign-in/?next=")
