"""Refused parcels: a register beside the book, of who brought what, and why it went back."""

import pytest

from custody.models import Lot, Operation, RefusedParcel, Weighing
from tests import builders, counter, people
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def house():
    builders.places()
    people.party("P-01")
    builders.scale("BENCH-2")


def entry(key=None, **changes):
    told = {
        "brought_by": "Mara Quill",
        "party": "",
        "identity_kind": "passport",
        "identity_number": "X1234567",
        "form": "nuggets",
        "description": "Wet, smells of mercury",
        "reason": "Mercury",
        "scale": "BENCH-2",
        "gross": "40.5",
        "place": str(builders.place().pk),
    }
    return body(key=key, **told | changes)


def sent(who=people.fiona_frontdesk, address="/counter/refuse/", **changes):
    return people.signed_in(who()).post(address, entry(**changes))


def test_a_refused_parcel_stands_in_the_register_and_never_in_the_book():
    answer = sent(party="P-01")
    one = RefusedParcel.objects.get()
    assert answer.url == f"/counter/refused/{one.pk}/"
    assert (one.brought_by, one.gross_mg, one.scale.code, one.party.code, one.reason) == (
        "Mara Quill",
        40_500,
        "BENCH-2",
        "P-01",
        "Mercury",
    )
    assert not any(model.objects.exists() for model in (Operation, Lot, Weighing))
    auditor = people.signed_in(people.adam_auditor())
    for address in ("/counter/refused/", answer.url):
        text = auditor.get(address).content.decode()
        for wanted in ("Mara Quill", "Mercury", "40.500", "Wet, smells of mercury"):
            assert wanted in text
    assert "X1234567" in auditor.get(answer.url).content.decode()
    assert "X1234567" not in people.signed_in(people.otto_operator()).get(answer.url).content.decode()


def test_it_may_come_with_a_receipt_whose_page_says_so():
    (lot,) = builders.received()
    number = builders.receipt_of(lot).number
    page = people.signed_in(people.fiona_frontdesk()).get(f"/counter/refuse/?receipt={number}").content.decode()
    assert 'value="Mara Quill"' in page
    sent(address=f"/counter/refuse/?receipt={number}")
    assert RefusedParcel.objects.get().receipt.number == number
    assert "Mercury" in people.signed_in(people.adam_auditor()).get(f"/receipt/{number}/").content.decode()


def test_unweighed_without_an_identity():
    answer = sent(gross="", scale="", identity_kind="", identity_number="")
    assert answer.status_code == 302, faults(answer)
    assert RefusedParcel.objects.get().gross_mg is None


def test_a_form_sent_twice_is_kept_once():
    told = entry()
    client = people.signed_in(people.fiona_frontdesk())
    first, second = (client.post("/counter/refuse/", told) for _ in range(2))
    assert first.url == second.url
    assert RefusedParcel.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"reason": ""}, "Reason is missing."),
        ({"brought_by": " "}, "Brought by is missing."),
        ({"gross": "-4"}, "gross weight"),
        ({"gross": "40", "scale": ""}, "Scale is missing."),
        ({"gross": "9000"}, "6 200.000"),
        ({"party": "Nobody"}, "There is no one party"),
        ({"form": "dust"}, "Select a valid choice."),
        ({"at": "2999-01-01T10:00"}, "future"),
    ],
)
def test_what_cannot_be_read_is_said_and_kept(changes, sentence):
    answer = sent(**changes)
    assert sentence in faults(answer)
    assert 'value="Wet, smells of mercury"' in answer.content.decode()
    assert not RefusedParcel.objects.exists()


def test_a_scale_that_was_not_checked_weighs_nothing_here_either():
    builders.scale("FLOOR-1", checked=False)
    assert "was not checked that day" in faults(sent(scale="FLOOR-1", gross="400"))


def test_the_register_asks_as_much_for_three_as_for_one():
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = people.signed_in(people.adam_auditor())

    def queries():
        with CaptureQueriesContext(connection) as captured:
            client.get("/counter/refused/")
        return len(captured)

    counter.refused()
    first = queries()
    counter.refused(party=people.party())
    counter.refused(builders.receipt_of(builders.received()[0]))
    assert queries() == first


@pytest.mark.parametrize("who", [people.otto_operator, people.adam_auditor, *people.CUSTOMERS])
def test_only_the_front_desk_refuses(who):
    assert people.signed_in(who()).get("/counter/refuse/").status_code == 403


def test_customers_see_no_register():
    one = counter.refused()
    for who in people.CUSTOMERS:
        for address in ("/counter/refused/", f"/counter/refused/{one.pk}/"):
            assert people.signed_in(who()).get(address).status_code == 403
