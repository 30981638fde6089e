"""The customer's side of an exchange of assays: its own result, given once; nothing of the refinery's before that."""

import uuid

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from tests import builders, exchanges, people

pytestmark = pytest.mark.django_db

RESULT = {"laboratory": "Tern Bay Assayers", "Au": "900.0", "Ag": "82.0", "sure": "on"}


def text(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def page(address, person=people.cora_customer):
    return text(people.signed_in(person()).get(address))


def send(exchange, person=people.cora_customer, **said):
    return people.signed_in(person()).post(address_of(exchange, "result/"), {"request_key": uuid.uuid4()} | said)


def address_of(exchange, page=""):
    return f"/my/exchange/{exchange.number}/{page}"


def test_the_customer_hands_in_once_and_sees_only_that_it_is_in():
    exchange = exchanges.opened()
    assert exchange.number in page("/my/")
    assert "awaiting both results" in page("/my/")
    assert "Hand in your result" in page(address_of(exchange))
    assert send(exchange, **RESULT).url == address_of(exchange)
    shown = page(address_of(exchange))
    assert "Your result is in since" in shown
    assert "Our result</dt> <dd>not in yet" in shown.replace("  ", " ")
    assert not any(figure in shown for figure in ("900.0", "82.0", "Tern Bay"))
    assert "Hand in your result" not in shown
    again = send(exchange, **RESULT | {"Au": "1.0"})
    assert again.url == address_of(exchange)
    exchanges.refinery_in(exchange)
    assert exchanges.seen(exchange).results["customer"].ppm == exchanges.INSIDE
    shown = page(address_of(exchange))
    assert all(figure in shown for figure in ("900.0", "900.5", "900.25", "their mean"))
    assert people.signed_in(people.cora_customer()).get(address_of(exchange, "result/")).status_code == 302


def test_the_message_says_whether_the_result_is_still_sealed():
    exchange = exchanges.opened()
    exchanges.refinery_in(exchange)
    answer = people.signed_in(people.cora_customer()).post(
        address_of(exchange, "result/"), RESULT | {"request_key": uuid.uuid4()}, follow=True
    )
    shown = answer.content.decode()
    assert "Your result is in." in shown
    assert "stays sealed until ours" not in shown, "both lie open now"


def test_the_refinerys_figures_are_nowhere_before_the_customers_are_in():
    exchange = exchanges.opened()
    found = exchanges.refinery_in(exchange, Au=900_123, Ag=80_456)
    receipt = builders.receipt_of(exchange.lot).number
    for address in ("/my/", f"/my/receipt/{receipt}/", address_of(exchange), address_of(exchange, "result/")):
        shown = page(address)
        assert not any(word in shown for word in ("900.123", "80.456", "900123", found.number))
    assert "Our result is in since" in page(address_of(exchange))


def test_a_stranger_and_nobody():
    exchange = exchanges.opened()
    stranger = people.signed_in(people.stranger())
    for address in (address_of(exchange), address_of(exchange, "result/"), "/my/exchange/X99-1/"):
        assert stranger.get(address).status_code == 404
        assert Client().get(address).url.startswith("/sign-in/?next=/")
    assert send(exchange, people.stranger, **RESULT).status_code == 404
    assert exchange.number not in page("/my/", people.stranger)
    assert not exchange.results.exists()


def test_staff_have_no_result_of_their_own():
    exchange = exchanges.opened()
    for person in people.STAFF:
        assert people.signed_in(person()).get(address_of(exchange)).status_code == 403
        assert send(exchange, person, **RESULT).status_code == 403
    assert not exchange.results.exists()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"Au": ""}, "Au"),
        ({"Ag": "82,0 %"}, "Ag"),
        ({"Au": "1000.1"}, "Au"),
        ({"Au": "-1"}, "Au"),
        ({"Pd": "1e400"}, "Pd"),
        ({"laboratory": ""}, "laboratory"),
        ({"sure": ""}, "sure"),
        ({"Au": "999", "Ag": "2"}, "__all__"),
    ],
)
def test_a_result_that_cannot_be(changes, field):
    exchange = exchanges.opened()
    answer = send(exchange, **RESULT | changes)
    form = answer.context["form"]
    assert list(form.errors) == [field]
    assert form["laboratory"].value() == (RESULT | changes)["laboratory"], "everything typed is kept"
    assert not exchange.results.exists()


def test_a_blank_metal_was_not_assayed_and_zero_was_found_to_be_none():
    exchange = exchanges.opened()
    send(exchange, **RESULT | {"Pt": "0", "Pd": ""})
    exchanges.refinery_in(exchange)
    assert exchanges.seen(exchange).results["customer"].ppm == exchanges.INSIDE | {"Pt": 0}


def test_after_the_umpire_the_customer_reads_who_pays():
    exchange = exchanges.both_in(exchanges.opened(), exchanges.OUTSIDE)
    assert "open: to the umpire" in page(address_of(exchange))
    exchanges.umpire_in(exchange, Au=900_600)
    shown = page(address_of(exchange))
    assert "The customer was farther from it and pays" in shown
    assert "Quern Umpire Laboratory" in shown
    exchanges.valued(exchange)
    assert "settled</span>" in page("/my/")


def test_three_exchanges_cost_as_many_queries_as_one():
    client = people.signed_in(people.cora_customer())
    exchanges.terms()

    def cost():
        with CaptureQueriesContext(connection) as caught:
            client.get("/my/")
        return len(caught)

    exchanges.both_in(exchanges.opened(builders.received()[0]))
    client.get("/my/")
    one = cost()
    for _ in range(2):
        exchanges.both_in(exchanges.opened(builders.received()[0]))
    assert cost() == one
