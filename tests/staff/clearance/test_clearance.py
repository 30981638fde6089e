"""Clearance: lots are held and released together, with a reason, by who has the right."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions import clearance
from custody.errors import NotAllowed, Refusal
from custody.models import ClearanceEvent, Lot
from custody.terms import Clearance
from tests import builders, people
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db


def decide(lots, decision="released", who=people.clara_compliance, key=None, **fields):
    data = body(key=key, **({"decision": decision, "reason": "Papers seen"} | fields))
    return people.signed_in(who()).post("/clearance/", data | {"lots": [str(lot) for lot in lots]}, follow=True)


def standings() -> list[str]:
    return list(Lot.objects.order_by("id").values_list("clearance", flat=True))


def test_several_parcels_are_released_at_once_with_one_reason():
    first, second, third = builders.received(1_000, 2_000, 3_000)
    answer = decide([first, third])
    assert "2 lots are released" in answer.content.decode()
    assert standings() == ["released", "awaiting release", "released"]
    events = ClearanceEvent.objects.order_by("id").values_list("lot", "reason", "by__username")
    assert list(events) == [(first.pk, "Papers seen", "clara"), (third.pk, "Papers seen", "clara")]
    assert second.number in answer.content.decode()


def test_a_held_lot_stays_in_the_list_with_its_reason():
    lot = builders.received()[0]
    answer = decide([lot], "held", reason="Whose coins are these?")
    assert standings() == ["held"]
    assert "Whose coins are these?" in answer.content.decode()
    decide([lot])
    assert standings() == ["released"]


def test_all_or_none():
    lots = builders.received(1_000, 2_000)
    builders.handed_over(lots[1], people.sam_sampler())
    at = lots[1].last_at
    with pytest.raises(Refusal, match="after it"):  # the second lot has a later event
        clearance.clear_lots(
            lots=[lot.number for lot in lots],
            clearance=Clearance.RELEASED,
            reason="x",
            at=at,
            by=people.clara_compliance(),
        )
    assert standings() == ["awaiting release", "awaiting release"]


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"reason": "  "}, "Reason is missing"),
        ({"decision": ""}, "Decision is missing"),
        ({"decision": "awaiting release"}, "valid choice"),
        ({"at": "2099-01-01T00:00"}, "in the future"),
        ({"at": "2020-01-01T00:00"}, "Give a time after it"),
        ({"reason": "x" * 1001}, "at most 1000 characters"),
    ],
)
def test_a_decision_that_cannot_be_is_refused_with_everything_kept(fields, sentence):
    lot = builders.received()[0]
    answer = decide([lot], **({"reason": "Papers seen"} | fields))
    assert sentence in faults(answer)
    said = answer.content.decode()
    assert f'value="{lot.number}" checked' in said
    assert "Papers seen" in said or "reason" in fields
    assert standings() == ["awaiting release"]


@pytest.mark.parametrize(("lots", "sentence"), [([], "Tick the lots"), (["L-0"], "There is no lot L-0")])
def test_a_decision_is_about_lots_that_there_are(lots, sentence):
    builders.received()
    assert sentence in faults(decide(lots))
    assert standings() == ["awaiting release"]


def test_a_form_sent_twice_is_one_decision():
    lot = builders.received()[0]
    decide([lot])
    assert "released already, and nothing was added" in decide([lot]).content.decode()
    assert ClearanceEvent.objects.count() == 1


def test_a_receipt_or_a_lot_that_is_asked_for_comes_ticked_whatever_its_standing():
    first, second = builders.received(1_000, 2_000)
    builders.released(first)
    other = builders.received()[0]
    client = people.signed_in(people.clara_compliance())
    page = client.get("/clearance/", {"receipt": builders.receipt_of(first).number}).content.decode()
    assert all(f'value="{lot.number}" checked' in page for lot in (first, second))
    assert other.number not in page
    assert f'value="{first.number}" checked' in client.get("/clearance/", {"lot": first.number}).content.decode()
    page = client.get("/clearance/").content.decode()
    assert f'value="{second.number}">' in page
    assert first.number not in page


def test_others_read_and_decide_nothing():
    lot = builders.received()[0]
    for who in people.STAFF:
        if who is people.clara_compliance:
            continue
        page = people.signed_in(who()).get("/clearance/").content.decode()
        assert lot.number in page
        assert "Record the decision" not in page
        decide([lot], who=who)
    for who in people.CUSTOMERS:
        assert people.signed_in(who()).get("/clearance/").status_code == 403
        assert decide([lot], who=who).status_code == 403
    assert standings() == ["awaiting release"]
    with pytest.raises(NotAllowed):
        clearance.clear_lots(
            lots=[lot.number],
            clearance=Clearance.RELEASED,
            reason="x",
            at=timezone.now(),
            by=people.mona_manager(),
        )


def test_the_list_costs_the_same_for_three_lots_as_for_one():
    client = people.signed_in(people.clara_compliance())
    builders.held(builders.received()[0])
    with CaptureQueriesContext(connection) as one:
        client.get("/clearance/")
    builders.held(builders.received()[0])
    builders.received(of=people.party("P-02"))
    with CaptureQueriesContext(connection) as three:
        client.get("/clearance/")
    assert len(three) == len(one)
