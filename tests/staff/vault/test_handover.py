"""Handing lots over by scanning, and taking over a whole place."""

from uuid import uuid4

import pytest

from custody.models import Handover
from tests import builders, people

pytestmark = pytest.mark.django_db


def rows(*entries):
    data = {"lots-TOTAL_FORMS": str(max(len(entries), 1)), "lots-INITIAL_FORMS": "0"}
    for number, (lot, weighed) in enumerate(entries):
        data |= {f"lots-{number}-lot": lot, f"lots-{number}-weighed": weighed}
    return data


def entry(client, **changes):
    """The handover form as the page sends it, its moment untouched."""
    form = client.get("/vault/handover/").context["form"]
    at = form["at"].value().strftime("%Y-%m-%dT%H:%M")
    sent = {
        "request_key": str(uuid4()),
        "at": at,
        "initial-at": at,
        "to_person": str(people.vera_vault().pk),
        "to_place": builders.place("VAULT").code,
        "note": "",
        "at_book": "",
    }
    return sent | rows() | changes


def test_several_lots_pass_at_once_weighed_or_at_book():
    weighed, first, second = builders.received(1_000_000, 500_000, 250_000)
    client = people.signed_in(people.fiona_frontdesk())
    answer = client.post(
        "/vault/handover/",
        entry(client, at_book=f"{first.number}\n{second.number}\n", **rows((weighed.number, "999.990"))),
        follow=True,
    )
    assert answer.redirect_chain[-1][0] == "/vault/place/VAULT/"
    text = answer.content.decode()
    assert "3 lots passed to Vera Lock at Main vault." in text
    assert "weighed 999.990 g, −0.010 g against the book" in text
    passed = {h.lot.number: h for h in Handover.objects.select_related("lot")}
    assert passed[weighed.number].weighed_mg == 999_990
    assert passed[weighed.number].book_mg == 1_000_000
    assert passed[first.number].weighed_mg is None
    for lot in (weighed, first, second):
        fresh = builders.fresh(lot.number)
        assert fresh.custodian == people.vera_vault()
        assert fresh.place.code == "VAULT"


def test_who_takes_may_record_it_and_a_bar_passes_by_its_serial():
    lot = builders.bar("A000001")
    client = people.signed_in(people.vera_vault())
    client.post("/vault/handover/", entry(client, at_book="a000001"))
    assert builders.fresh(lot.number).custodian == people.vera_vault()


def test_a_third_person_is_refused_beside_the_lot():
    (lot,) = builders.received()
    client = people.signed_in(people.sam_sampler())
    answer = client.post("/vault/handover/", entry(client, **rows((lot.number, ""))))
    assert "is in another person&#x27;s custody" in answer.content.decode()
    assert not Handover.objects.exists()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({}, "Scan at least one lot."),
        ({"at_book": "L99-1"}, "There is no lot L99-1."),
        ({"at_book": "L99-1\nl99-1"}, "Line 2: l99-1 stands in line 1 already."),
        ({"at_book": "x" * 65}, "Line 1 is no lot"),
        ({"at_book": "\n".join(map(str, range(201)))}, "No more than 200 lots fit in one entry."),
        (rows(("L99-1", "1000,1")), "has a comma"),
        (rows(("L99-1", "-5")), "is negative"),
        ({"to_person": ""}, "To is missing."),
        ({"at": "yesterday"}, "Give a date and a time"),
    ],
)
def test_what_cannot_be_read_is_said_and_kept(changes, sentence):
    builders.received()
    client = people.signed_in(people.fiona_frontdesk())
    answer = client.post("/vault/handover/", entry(client, note="to the vault", **changes))
    assert answer.status_code == 200
    text = answer.content.decode()
    assert sentence in text
    assert 'value="to the vault"' in text
    assert not Handover.objects.exists()


def test_one_refused_lot_keeps_all_from_passing():
    first, second = builders.received(1_000_000, 500_000)
    builders.handed_over(second, people.otto_operator())
    client = people.signed_in(people.fiona_frontdesk())
    answer = client.post("/vault/handover/", entry(client, at_book=f"{first.number}\n{second.number}"))
    assert f"Lot {second.number} is in another person" in answer.content.decode()
    assert builders.fresh(first.number).custodian == people.fiona_frontdesk()


def test_a_form_sent_twice_passes_once_even_after_the_lot_went_on():
    (lot,) = builders.received()
    client = people.signed_in(people.fiona_frontdesk())
    sent = entry(client, at_book=lot.number)
    client.post("/vault/handover/", sent)
    builders.handed_over(builders.fresh(lot.number), people.fiona_frontdesk(), "COUNTER")
    client.post("/vault/handover/", sent)
    assert Handover.objects.count() == 2
    assert builders.fresh(lot.number).custodian == people.fiona_frontdesk()


def test_the_lot_that_is_named_stands_in_the_form_and_the_taker_is_who_does_not_hold_it():
    (lot,) = builders.received()
    page = people.signed_in(people.vera_vault()).get(f"/vault/handover/?lot={lot.number}")
    assert f'value="{lot.number}"' in page.content.decode()
    assert page.context["form"]["to_person"].value() == people.vera_vault().pk


def take_over(client, place, **changes):
    page = client.get(f"/vault/takeover/{place}/")
    at = page.context["form"]["at"].value().strftime("%Y-%m-%dT%H:%M")
    sent = {
        "request_key": str(uuid4()),
        "at": at,
        "initial-at": at,
        "to_person": str(page.wsgi_request.user.pk),
        "note": "",
        "seen": page.context["shown"],
    }
    return sent | changes


def test_everything_at_a_place_passes_at_once_at_book():
    lots = builders.received(1_000_000, 500_000, 250_000)
    client = people.signed_in(people.vera_vault())
    sent = take_over(client, "COUNTER")
    answer = client.post("/vault/takeover/COUNTER/", sent, follow=True)
    assert "Vera Lock took over 3 lots at Front counter, at book, not weighed." in answer.content.decode()
    for lot in lots:
        fresh = builders.fresh(lot.number)
        assert (fresh.custodian, fresh.place.code) == (people.vera_vault(), "COUNTER")
    again = client.post("/vault/takeover/COUNTER/", sent, follow=True)
    assert "Nothing was recorded twice." in again.content.decode()
    assert Handover.objects.count() == 3


def test_what_came_since_the_list_was_shown_is_looked_at_first():
    builders.received()
    client = people.signed_in(people.vera_vault())
    sent = take_over(client, "COUNTER")
    (late,) = builders.received(5_000)
    answer = client.post("/vault/takeover/COUNTER/", sent)
    assert "The list that you saw was another one." in answer.content.decode()
    assert late.number in answer.content.decode()
    assert not Handover.objects.exists()


def test_who_gives_passes_on_only_what_is_in_their_own_custody():
    (mine,) = builders.received()
    (others,) = builders.received(5_000)
    builders.handed_over(others, people.otto_operator(), "COUNTER")
    client = people.signed_in(people.fiona_frontdesk())
    to_vera = {"to_person": str(people.vera_vault().pk)}
    shown = client.post("/vault/takeover/COUNTER/", take_over(client, "COUNTER", **to_vera)).context["shown"]
    client.post("/vault/takeover/COUNTER/", take_over(client, "COUNTER", **to_vera, seen=shown))
    assert builders.fresh(mine.number).custodian == people.vera_vault()
    assert builders.fresh(others.number).custodian == people.otto_operator()


@pytest.mark.parametrize(
    "who", [people.matt_accountant, people.clara_compliance, people.mona_manager, people.adam_auditor]
)
@pytest.mark.parametrize("address", ["/vault/handover/", "/vault/takeover/COUNTER/"])
def test_who_may_not_hold_metal_is_turned_away(who, address):
    builders.place()
    assert people.signed_in(who()).get(address).status_code == 403
