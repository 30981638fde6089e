"""A place that two people open: opened and closed on the spot, with what was done in it; and the places themselves."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.vault import close_vault, open_vault
from custody.models import Handover, Place, PlaceChange, VaultAccess, VaultClosing
from custody.queries import vault as queries
from custody.queries.verify import verify
from tests import builders, people

pytestmark = pytest.mark.django_db
OPEN = "/vault/open/CAGE/"


def words(answer):
    return " ".join(answer.content.decode().split())


def entry(client, address=OPEN, **changes):
    at = client.get(address).context["form"]["at"].value().strftime("%Y-%m-%dT%H:%M")
    sent = {"request_key": str(uuid4()), "at": at, "initial-at": at, "purpose": "Bars to the gate"}
    return sent | {"signer": "max", "signer_password": people.PASSWORD} | changes


def opened(**changes):
    people.max_manager()
    builders.place("CAGE")
    client = people.signed_in(people.vera_vault())
    return client.post(OPEN, entry(client, **changes), follow=True)


def cage_open(purpose="Stock", at=None):
    signed = Signature(people.max_manager(), "Opened together")
    return open_vault(
        place=builders.place("CAGE"), second=signed, purpose=purpose, at=at or timezone.now(), by=people.vera_vault()
    )


def test_two_people_open_it_work_in_it_and_close_it():
    builders.refinery()
    answer = opened()
    assert "Cage that two people open is open: Vera Lock and Max Holl." in words(answer)
    assert "1 place" in people.signed_in(people.vera_vault()).get("/").content.decode(), "it waits to be closed"
    assert "Open: Vera Lock and Max Holl since" in words(answer)
    access = VaultAccess.objects.get()
    bar = builders.handed_over(builders.bar("HF-1", grams=100), people.vera_vault(), "CAGE")
    keeper = people.signed_in(people.vera_vault())
    close = f"/vault/close/{access.number}/"
    sent = entry(keeper, close)
    text = words(keeper.post(close, sent, follow=True))
    assert "Cage that two people open is closed." in text
    assert "put in, from SHOP Bar workshop" in text
    assert bar.number in text
    assert words(keeper.post(close, sent, follow=True)).count("is closed.") == 1
    assert VaultClosing.objects.get().by == people.vera_vault()
    assert "Closed. Two people open it before anything is touched here." in words(keeper.get("/vault/place/CAGE/"))
    assert verify().ok


def test_a_form_sent_twice_opens_it_once():
    people.max_manager()
    builders.place("CAGE")
    client = people.signed_in(people.vera_vault())
    sent = entry(client)
    for _ in range(2):
        assert client.post(OPEN, sent).status_code == 302
    assert VaultAccess.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"purpose": ""}, "What for is missing."),
        ({"signer": ""}, "login is missing: two people sign."),
        ({"signer_password": ""}, "password is missing: two people sign."),
        ({"signer_password": "wrong"}, "name or password is not right"),
        ({"signer": "vera"}, "Nobody opens it alone"),
        ({"signer": "otto"}, "may not open the vault"),
        ({"at": "2999-01-01T00:00"}, "This date is in the future."),
    ],
)
def test_what_stops_an_opening_is_said_and_what_was_typed_stays(changes, sentence):
    people.otto_operator()
    answer = opened(**changes)
    assert sentence in words(answer)
    assert people.PASSWORD not in words(answer)
    if "purpose" not in changes:
        assert 'value="Bars to the gate"' in words(answer)
    assert not VaultAccess.objects.exists()


def test_an_open_place_is_not_opened_again_and_says_by_whom_it_is():
    cage_open()
    assert "It is open already: Vera Lock and Max Holl since" in words(people.signed_in(people.vera_vault()).get(OPEN))
    assert "It is open already: Vera Lock" in words(opened())
    assert VaultAccess.objects.count() == 1


def test_a_manager_closes_what_both_left_open_and_says_why():
    access = cage_open()
    client = people.signed_in(people.mona_manager())
    close = f"/vault/close/{access.number}/"
    assert "Why neither of the two closes it is missing." in words(client.post(close, entry(client, close)))
    client.post(close, entry(client, close, note="Both went home"))
    assert VaultClosing.objects.get().note == "Both went home"
    assert "Both went home" in words(client.get(f"/vault/access/{access.number}/"))


def test_what_is_open_too_long_is_told():
    builders.refinery()
    access = cage_open(at=timezone.now() - timedelta(hours=13))
    assert queries.standings(people.adam_auditor())[0].word == "open too long"
    for address in ("/vault/", "/vault/place/CAGE/", f"/vault/access/{access.number}/"):
        assert "pen too long" in words(people.signed_in(people.adam_auditor()).get(address))


def test_a_closed_place_refuses_a_handover_at_the_lot():
    (lot,) = builders.ready(50)
    builders.place("CAGE")
    client = people.signed_in(people.otto_operator())
    page = client.get("/vault/handover/")
    at = page.context["form"]["at"].value().strftime("%Y-%m-%dT%H:%M")
    sent = {
        "request_key": str(uuid4()), "at": at, "initial-at": at, "to_place": "CAGE",
        "to_person": people.vera_vault().pk,
        "at_book": lot.number, "not_weighed": "sealed, the seal seen unbroken", "note": "", "scale": "",
        "lots-TOTAL_FORMS": 0, "lots-INITIAL_FORMS": 0,
    }  # fmt: skip
    text = words(client.post("/vault/handover/", sent))
    assert "Place CAGE is opened by two people: open it first." in text
    assert f"{lot.number}</textarea>" in text
    assert not Handover.objects.filter(to_place__code="CAGE").exists()


PAGES = ["/vault/accesses/CAGE/", "/vault/access/{number}/"]


@pytest.mark.parametrize("address", PAGES)
def test_those_who_read_the_book_read_the_log_and_nobody_else(address):
    access = cage_open()
    address = address.format(number=access.number)
    for person in people.STAFF:
        assert people.signed_in(person()).get(address).status_code == 200
    for person in people.CUSTOMERS:
        assert people.signed_in(person()).get(address).status_code == 403
    assert people.signed_in(people.adam_auditor()).get("/vault/access/VA-NONE/").status_code == 404


def test_keepers_and_managers_open_and_managers_keep_places():
    access = cage_open()
    for person in people.EVERYBODY:
        client, name = people.signed_in(person()), person.__name__
        may = name in ("vera_vault", "mona_manager")
        for address in (OPEN, f"/vault/close/{access.number}/"):
            assert client.get(address).status_code == (200 if may else 403), name
        for address in ("/vault/places/", "/vault/places/CAGE/"):
            assert client.get(address).status_code == (200 if name == "mona_manager" else 403), name


def test_a_place_that_anybody_opens_has_no_door():
    builders.place("VAULT")
    assert people.signed_in(people.vera_vault()).get("/vault/open/VAULT/").status_code == 404


def queried(client, address):
    with CaptureQueriesContext(connection) as caught:
        assert client.get(address).status_code == 200
    return len(caught)


def test_three_accesses_cost_as_many_queries_as_one():
    client = people.signed_in(people.adam_auditor())
    first = cage_open()
    close_vault(access=first, at=timezone.now(), by=people.vera_vault())
    pages = ["/vault/", "/vault/place/CAGE/", "/vault/accesses/CAGE/"]
    client.get(pages[0])
    once = [queried(client, page) for page in pages]
    for _ in range(2):
        close_vault(access=cage_open(), at=timezone.now(), by=people.vera_vault())
    assert [queried(client, page) for page in pages] == once


def keep(client, address, **said):
    page = client.get(address)
    sent = {"request_key": str(uuid4())}
    if "seen" in page.context["form"].fields:
        sent["seen"] = page.context["form"]["seen"].value()
    return client.post(address, sent | said, follow=True)


def test_a_manager_adds_a_place_and_changes_it_with_name_and_time():
    client = people.signed_in(people.mona_manager())
    new = {"code": "VAULT-2", "name": "Second vault", "kind": "vault", "two_person": "on"}
    for _ in range(2):
        assert "Second vault is a place of the house now" in words(keep(client, "/vault/places/", **new))
    assert Place.objects.get(code="VAULT-2").two_person
    assert "There is a place VAULT-2 already." in words(keep(client, "/vault/places/", **new | {"name": "Third"}))
    assert "A code is of capitals" in words(keep(client, "/vault/places/", **new | {"code": "vault 2"}))
    text = words(keep(client, "/vault/places/VAULT-2/", active="on"))
    assert "Second vault is changed." in text
    assert "Mona Ravn" in text
    assert not Place.objects.get(code="VAULT-2").two_person
    assert "stands as it was" in words(keep(client, "/vault/places/VAULT-2/", active="on"))
    assert PlaceChange.objects.count() == 1
    assert verify().ok


def test_a_place_is_not_changed_while_it_is_open_nor_left_with_lots():
    access = cage_open()
    builders.handed_over(builders.bar("HF-1", grams=100), people.vera_vault(), "CAGE")
    client = people.signed_in(people.mona_manager())
    assert "This place is open now. Close it first" in words(keep(client, "/vault/places/CAGE/", active="on"))
    close_vault(access=access, at=timezone.now(), by=people.vera_vault())
    assert "Lots stand at this place." in words(keep(client, "/vault/places/CAGE/", two_person="on"))
    page = {"seen": "True False", "request_key": str(uuid4()), "active": "on"}
    assert "Somebody else changed this place meanwhile." in words(client.post("/vault/places/CAGE/", page))
    assert not PlaceChange.objects.exists()
