"""What is in the vault: totals, sizes, serials; and the pages' cost."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests import builders, people, settling

pytestmark = pytest.mark.django_db


def page(address, person=None):
    answer = people.signed_in(person or people.adam_auditor()).get(address)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def queries(client, address):
    with CaptureQueriesContext(
        connection,
    ) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


def test_the_vault_shows_metal_in_kilograms_and_ounces_and_bars_by_size():
    for serial in ("A000001", "A000002"):
        settling.bar_in_vault(serial)
    settling.bar_in_vault("A000003", grams=100)
    text = page("/vault/")
    assert ">2.100<" in text  # 2 × 999.900 + 99.990 g Au, in kg
    assert ">67.510<" in text  # the same 2 099.790 g in troy ounces of 31.1034768 g
    assert "A000001 to A000002" in text
    assert "1 kg" in text
    assert "100 g" in text


def test_an_unvalued_lot_counts_by_gross_alone():
    builders.received(640_000)
    text = page("/vault/")
    assert "There is no valued metal in the house." in text
    assert "COUNTER" in text
    assert ">0.640<" in text


def test_a_place_lists_its_bars_and_its_other_lots():
    lot = settling.bar_in_vault("A000007")
    other = builders.handed_over(builders.received()[0], people.vera_vault(), "VAULT")
    text = page("/vault/place/VAULT/")
    for wanted in ("HFR A000007", lot.number, other.number, "Vera Lock", "awaiting release"):
        assert wanted in text


def test_a_place_that_is_not_there_is_not_found():
    assert people.signed_in(people.vera_vault()).get("/vault/place/NOWHERE/").status_code == 404


@pytest.mark.parametrize("address", ["/vault/", "/vault/place/VAULT/"])
def test_three_bars_cost_as_many_queries_as_one(address):
    client = people.signed_in(people.vera_vault())
    settling.bar_in_vault("A000001")
    client.get(address)
    one = queries(client, address)
    settling.bar_in_vault("A000002")
    settling.bar_in_vault("A000003", grams=100)
    assert queries(client, address) == one


def test_a_lot_that_is_named_leads_to_its_handover():
    answer = people.signed_in(people.vera_vault()).get("/vault/?lot=L26-1")
    assert answer.status_code == 302
    assert answer["Location"] == "/vault/handover/?lot=L26-1"
