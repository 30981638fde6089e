"""The change of a shift: all of a place is scanned, weighed where wanted, signed by both, or said to be missing."""

from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.work import Add, Make, Take, record_step
from custody.models import Handover, Lot
from custody.queries.verify import verify
from custody.terms import Addition, Form, Kind, NotWeighed
from tests import builders, people
from tests.staff.vault.test_handover import SIGNED, rows

pytestmark = pytest.mark.django_db

PLACE = "/vault/takeover/COUNTER/"


def entry(client, signs, address=PLACE, **changes):
    """The form as the page sends it, signed by the other person; nothing is ticked."""
    page = client.get(address)
    at = page.context["form"]["at"].value().strftime("%Y-%m-%dT%H:%M")
    sent = {
        "request_key": str(uuid4()),
        "at": at,
        "initial-at": at,
        "note": "",
        "scanned": "",
        "scale": "BENCH-2",
        "signer": signs.username,
        "signer_password": people.PASSWORD,
    }
    return sent | rows() | changes


def passed_on(giver, taker, by, address=PLACE, **changes):
    client = people.signed_in(by)
    other = giver if by == taker else taker
    return client.post(address, entry(client, other, address, **changes), follow=True)


def ticked(*lots):
    return {"seen": [lot.number for lot in lots]}


@pytest.mark.parametrize("who", ["giver", "taker"])
def test_all_that_is_scanned_passes_at_once_signed_by_both(who):
    lots = builders.received(1_000_000, 500_000, 250_000)
    fiona, vera = people.fiona_frontdesk(), people.vera_vault()
    by = fiona if who == "giver" else vera
    client = people.signed_in(by)
    sent = entry(client, vera if by == fiona else fiona, scanned=lots[2].number.lower(), **ticked(*lots[:2]))
    answer = client.post(PLACE, sent, follow=True)
    text = answer.content.decode()
    assert "Vera Lock took over 3 lots from Fiona Marl. Both signed." in text
    assert "at book: shift handover, seen and scanned" in text
    for lot in lots:
        fresh = builders.fresh(lot.number)
        assert (fresh.custodian, fresh.place.code) == (vera, "COUNTER")
    for handover in Handover.objects.all():
        assert {handover.by, handover.signed_by} == {fiona, vera}
        assert (handover.by, handover.seen) == (by, True)
    again = client.post(PLACE, sent, follow=True)
    assert "Nothing was recorded twice." in again.content.decode()
    assert Handover.objects.count() == 3
    assert verify().ok


def test_what_is_not_scanned_does_not_pass_in_silence():
    there, gone = builders.received(1_000_000, 500_000)
    fiona, vera = people.fiona_frontdesk(), people.vera_vault()
    answer = passed_on(fiona, vera, vera, note="late", **ticked(there))
    text = answer.content.decode()
    assert f"Not scanned: {gone.number}. Scan what is there." in text
    assert f"Why {gone.number} was not found" in text
    assert 'value="late"' in text
    assert f'value="{there.number}" checked' in text
    assert people.PASSWORD not in text
    assert not Handover.objects.exists()
    why = {f"missing_{gone.pk}": "Not in the safe; searched twice"}
    answer = passed_on(fiona, vera, vera, **why, **ticked(there))
    text = answer.content.decode()
    assert f"NOT FOUND: {gone.number}. Fiona Marl still answers" in text
    assert builders.fresh(there.number).custodian == vera
    stayed = builders.fresh(gone.number)
    assert (stayed.custodian, stayed.place.code) == (fiona, "COUNTER")
    record = Handover.objects.get(lot=gone)
    assert (record.seen, record.not_weighed) == (False, NotWeighed.MISSING)
    assert record.explanation == "Not in the safe; searched twice"
    assert verify().ok
    page = people.signed_in(people.adam_auditor()).get(f"/lot/{gone.number}/").content.decode()
    assert "NOT FOUND, stays with who gave; Not in the safe" in page


def test_some_are_weighed_on_the_way_and_a_difference_stops_all():
    light, other = builders.received(1_000_000, 500_000)
    fiona, vera = people.fiona_frontdesk(), people.vera_vault()
    people.mona_manager()
    answer = passed_on(fiona, vera, vera, **ticked(other), **rows((light.number, "998")))
    assert "weighed 2.000 g less; both scales together may be 0.400 g off." in answer.content.decode()
    assert not Handover.objects.exists()
    passed_on(fiona, vera, vera, **ticked(other), **rows((light.number, "998", "", "Dust in the bag")), **SIGNED)
    weighed = Handover.objects.get(lot=light)
    assert (weighed.weighed_mg, weighed.countersigned_by, weighed.signed_by) == (998_000, people.mona_manager(), fiona)


def charged():
    """The content of vessel 1, in the operator's hands."""
    (lot,) = builders.ready(20)
    builders.place("VESSEL-1")
    posted = record_step(
        kind=Kind.CHARGE,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.IN_PROCESS, lot.gross_mg + 1_000, {"Au": lot.au_mg, "Ag": lot.ag_mg}, vessel="VESSEL-1")],
        additions=(Add(Addition.ACID, 1_000),),
        at=timezone.now(),
        by=people.otto_operator(),
    )
    return builders.fresh(posted.lots[0])


def test_a_run_passes_at_book_as_the_content_of_its_vessel_by_its_vessels_label():
    content = charged()
    otto, vera = people.otto_operator(), people.vera_vault()
    address = "/vault/takeover/VESSEL-1/"
    page = people.signed_in(vera).get(address).content.decode()
    assert content.run.number in page
    assert content.run.step in page
    passed_on(otto, vera, vera, address, scanned="vessel-1")
    record = Handover.objects.get(lot=content)
    assert (record.not_weighed, record.weighed_mg, record.to_person) == (NotWeighed.VESSEL, None, vera)


def test_several_places_of_one_person_pass_together():
    (one,) = builders.received()
    (two,) = builders.received(5_000)
    fiona, vera = people.fiona_frontdesk(), people.vera_vault()
    builders.handed_over(two, fiona, "STRONG")
    page = people.signed_in(vera).get(PLACE).content.decode()
    assert "Add Counter strongroom, 1 lot" in page
    passed_on(fiona, vera, vera, f"{PLACE}?from=fiona&and=STRONG", **ticked(one, two))
    assert {(lot.custodian, lot.place.code) for lot in Lot.objects.all()} == {(vera, "COUNTER"), (vera, "STRONG")}


def test_others_at_the_place_keep_theirs_and_their_list_is_one_press_away():
    (mine,) = builders.received()
    (others,) = builders.received(5_000)
    builders.handed_over(others, people.otto_operator(), "COUNTER")
    fiona, vera = people.fiona_frontdesk(), people.vera_vault()
    page = people.signed_in(vera).get(f"{PLACE}?from=fiona").content.decode()
    assert "1 lot held by Otto Flux" in page
    answer = passed_on(fiona, vera, vera, f"{PLACE}?from=fiona", **ticked(mine), scanned=others.number)
    assert f"Lot {others.number} is not on this list: by the book it is with Otto Flux" in answer.content.decode()
    passed_on(fiona, vera, vera, f"{PLACE}?from=fiona", **ticked(mine))
    assert builders.fresh(mine.number).custodian == vera
    assert builders.fresh(others.number).custodian == people.otto_operator()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"signer_password": "wrong"}, "name or password is not right"),
        ({"signer": ""}, "login is missing: both sign."),
        ({"signer": "otto"}, "the second signature is another person"),
        ({"signer": "vera"}, "the second signature is another person"),
        ({"signer": "adam"}, "may not hand over"),
        ({"scanned": "L99-1"}, "There is no lot L99-1."),
        (rows(("L99-1", "5")), "This lot is not on the list."),
        ({"scale": "NONE-1"}, "Select a valid choice"),
        ({"at": "2999-01-01T00:00"}, "This date is in the future."),
    ],
)
def test_what_stops_it_is_said_and_nothing_passes(changes, sentence):
    (lot,) = builders.received()
    for person in (people.otto_operator, people.adam_auditor):
        person()
    answer = passed_on(people.fiona_frontdesk(), people.vera_vault(), people.vera_vault(), **(ticked(lot) | changes))
    assert answer.status_code == 200
    assert sentence in answer.content.decode()
    assert not Handover.objects.exists()


def test_what_came_since_the_list_was_shown_is_asked_for():
    (lot,) = builders.received()
    fiona, vera = people.fiona_frontdesk(), people.vera_vault()
    client = people.signed_in(vera)
    sent = entry(client, fiona, **ticked(lot))
    (late,) = builders.received(5_000)
    answer = client.post(PLACE, sent)
    assert f"Not scanned: {late.number}." in answer.content.decode()
    assert not Handover.objects.exists()


def test_a_list_of_three_costs_as_many_queries_as_of_one():
    client = people.signed_in(people.vera_vault())
    builders.received()
    client.get(PLACE)
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as caught:
            assert client.get(PLACE).status_code == 200
        counts.append(len(caught))
        builders.received(1_000, 2_000)
    assert counts[0] == counts[1]


def test_a_list_that_nobody_recorded_is_not_found_and_a_customer_never_sees_one():
    (lot,) = builders.received()
    passed_on(people.fiona_frontdesk(), people.vera_vault(), people.vera_vault(), **ticked(lot))
    address = f"/vault/passed/{Handover.objects.get().request_key}/"
    assert people.signed_in(people.adam_auditor()).get(address).status_code == 200
    assert address in people.signed_in(people.adam_auditor()).get("/vault/place/COUNTER/").content.decode()
    assert people.signed_in(people.adam_auditor()).get(f"/vault/passed/{uuid4()}/").status_code == 404
    assert people.signed_in(people.cora_customer()).get(address).status_code in (403, 404)
