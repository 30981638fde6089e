"""Parties are found, entered, changed by one at a time; terms are added, never edited."""

from datetime import date
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from custody.models import Party, Terms
from custody.queries.parties import find_party
from tests import builders, people
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db

NEW = {
    "code": "P-77",
    "name": "Ashbank Coin Hall",
    "country": "nl",
    "address": "Quay 3\nAshbank",
    "note": "Calls first",
}
TERMS = {
    "valid_from": "2026-01-01",
    "currency": "EUR",
    "au_payable_ppm": "98.5",
    "ag_payable_ppm": "90",
    "pt_payable_ppm": "0",
    "pd_payable_ppm": "0",
    "cu_payable_ppm": "0",
    "refining_charge_per_g": "0.0950",
    "treatment_charge": "75",
    "minimum_charge": "120.00",
}


def post(page: str, who=people.fiona_frontdesk, **fields):
    return people.signed_in(who()).post(page, body(**fields))


def test_a_party_is_entered_and_found_by_words_of_its_name():
    assert post("/parties/new/", **NEW).url == "/party/P-77/"
    client = people.signed_in(people.adam_auditor())
    assert "Ashbank Coin Hall" in client.get("/parties/?q=coin+ash").content.decode()
    assert "No party answers" in client.get("/parties/?q=coin+ash+x").content.decode()
    assert "Calls first" in client.get("/party/P-77/").content.decode()
    assert Party.objects.get(code="P-77").country == "NL"


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"code": "P 77"}, "A code has no spaces"),
        ({"code": "P/77"}, "A code has no spaces"),
        ({"code": "P-01"}, "There is a party P-01 already"),
        ({"name": ""}, "Name is missing"),
        ({"country": "UK"}, "There is no country"),
        ({"name": "x" * 201}, "at most 200 characters"),
        ({"name": "a\0b"}, "Null characters"),
    ],
)
def test_what_cannot_be_entered_is_refused_and_stays_typed(fields, sentence):
    people.party("P-01")
    answer = post("/parties/new/", **(NEW | fields))
    assert sentence in faults(answer)
    assert "Quay 3" in answer.content.decode()
    assert Party.objects.count() == 1


def test_a_change_that_crosses_another_is_refused_with_what_was_typed():
    people.party("P-01")
    changed = {"name": "Tern Valley Co-op", "country": "CA", "version": "1"}
    assert post("/party-change/P-01/", **changed).status_code == 302
    late = post("/party-change/P-01/", people.mona_manager, **(changed | {"name": "Tern Valley Ltd"}))
    assert "Somebody else changed this party meanwhile" in faults(late)
    assert "Tern Valley Ltd" in late.content.decode()
    assert Party.objects.get().name == "Tern Valley Co-op"


def test_the_same_change_sent_twice_is_one():
    people.party("P-01")
    for _ in range(2):
        assert post("/party-change/P-01/", name="Tern", country="CA", version="1").status_code == 302
    assert Party.objects.get().version == 2


def test_terms_are_added_and_the_earlier_ones_stay():
    party = people.party("P-01")
    assert post("/party-terms/P-01/", people.matt_accountant, **TERMS).url == "/party/P-01/"
    terms = Terms.objects.get()
    assert (terms.valid_from, terms.payable_ppm) == (date(2026, 1, 1), (985_000, 900_000, 0, 0, 0))
    assert (terms.refining_charge_per_g, terms.minimum_charge) == (Decimal("0.0950"), Decimal("120.00"))
    post("/party-terms/P-01/", people.matt_accountant, **(TERMS | {"au_payable_ppm": "99"}))
    assert party.terms.count() == 2
    assert 'value="99.00"' in people.signed_in(people.matt_accountant()).get("/party-terms/P-01/").content.decode()


def test_the_same_terms_sent_twice_are_one():
    people.party("P-01")
    for _ in range(2):
        assert post("/party-terms/P-01/", people.matt_accountant, **TERMS).status_code == 302
    assert Terms.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"au_payable_ppm": "98,5"}, "has a comma"),
        ({"au_payable_ppm": "101"}, "more than 100 per cent"),
        ({"ag_payable_ppm": "-1"}, "is negative"),
        ({"treatment_charge": "1e3"}, "exponent"),
        ({"refining_charge_per_g": "NaN"}, "is not a number"),
        ({"minimum_charge": "9" * 1_000_000}, "1000000 characters long"),
        ({"valid_from": "soon"}, "Give a day"),
        ({"currency": "GOLD"}, "valid choice"),
    ],
)
def test_terms_that_cannot_be_read_are_refused(fields, sentence):
    people.party("P-01")
    answer = post("/party-terms/P-01/", people.matt_accountant, **(TERMS | fields))
    assert sentence in faults(answer)
    assert 'value="0.0950"' in answer.content.decode() or "refining_charge_per_g" in fields
    assert not Terms.objects.exists()


@pytest.mark.parametrize(
    "typed", ["P-01", "p-01", " P-01 Tern  Valley Placer Cooperative", "tern valley placer cooperative"]
)
def test_a_party_is_found_as_it_is_typed(typed):
    people.party("P-01")
    assert find_party(people.fiona_frontdesk(), typed) == people.party("P-01")


@pytest.mark.parametrize("typed", ["", "P", "Tern", "P-01 Tern", "P-01 Old Mill Jewellers", "P\0"])
def test_a_party_is_never_guessed(typed):
    people.party("P-01"), people.party("P-02")
    assert find_party(people.fiona_frontdesk(), typed) is None


def test_lists_cost_the_same_for_three_as_for_one():
    client = people.signed_in(people.adam_auditor())

    def queries(page: str) -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get(page).status_code == 200
        return len(captured)

    builders.received()
    first = {page: queries(page) for page in ("/parties/", "/party/P-01/", "/book/")}
    builders.received(of=people.party("P-02"))
    builders.received(of=people.party("P-03"))
    builders.received(), builders.received()
    assert {page: queries(page) for page in first} == first
