"""The page of a lot tells its whole life, and offers what this viewer may do with it."""

import json

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse as reverse_url
from django.utils import timezone

from custody.actions.history import import_history
from custody.actions.work import Lose, Make, Take, record_step, reverse
from custody.models import Operation
from custody.queries import lot_life
from custody.terms import Cause, Form, Kind
from tests import builders, people

pytestmark = pytest.mark.django_db


def page(lot, who=people.adam_auditor) -> str:
    return people.signed_in(who()).get(f"/lot/{lot.number}/").content.decode()


def test_custody_has_no_gap_and_says_what_was_weighed():
    builders.places()
    lot = builders.received()[0]
    builders.handed_over(lot, people.sam_sampler(), "LAB", weighed_mg=999_990)
    lot = builders.handed_over(builders.fresh(lot.number), people.vera_vault(), "VAULT")
    first, second, third = lot_life.custody_line(lot)
    assert [first.who, second.who, third.who] == ["Fiona Marl", "Sam Tarn", "Vera Lock"]
    assert [first.where, second.where, third.where] == ["Front counter", "Laboratory", "Main vault"]
    assert (first.until, second.until, third.until) == (second.since, third.since, None)
    assert (second.weighed_mg, second.off_mg, third.off_mg) == (999_990, -10, None)
    said = page(lot)
    assert "−0.010" in said
    assert "weighed on BENCH-2, keyed" in said
    assert "at book: sealed, the seal seen unbroken" in said


def test_every_operation_that_touched_it_says_what_was_left():
    lot, _ = builders.ready(1000, 500)
    half = Make(Form.DORE, 400_000, {"Au": 320_000, "Ag": 60_000})
    posted = record_step(
        kind=Kind.DIVIDE,
        inputs=[Take(lot.number, gross_mg=400_000)],
        outputs=[half],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    received, valued, divided = lot_life.events_of(lot)
    assert [event.kind for event in (received, valued, divided)] == ["receive", "value", "divide"]
    assert received.change_mg == (1_000_000, None, None, None, None, None)  # nothing is known of its metal yet
    assert valued.change_mg == (0, 800_000, 150_000, 0, 0, 0)
    assert divided.change_mg[:2] == (-400_000, -320_000)
    assert divided.after_mg == builders.fresh(lot.number).columns_mg
    child = builders.fresh(posted.lots[0])
    assert posted.lots[0] in page(builders.fresh(lot.number))
    assert lot.number in page(child)


def test_a_reversed_step_stays_on_the_page_as_reversed():
    (lot,) = builders.ready()
    posted = record_step(
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, 999_000, {"Au": 800_000, "Ag": 150_000})],
        losses=(Lose(Cause.SLAG, 1_000),),
        at=timezone.now(),
        by=people.otto_operator(),
    )
    mended = reverse(
        operation=Operation.objects.get(pk=posted.id), reason="Wrong lot", at=timezone.now(), by=people.otto_operator()
    )
    *_, melted, undone = lot_life.events_of(lot)
    assert (melted.reversed_by, undone.kind) == (mended.number, "reverse")
    assert undone.after_mg == builders.fresh(lot.number).columns_mg
    assert lot_life.children_of(lot)[0].reversed
    assert "empty" in page(builders.fresh(posted.lots[0]))


def test_an_unvalued_lot_shows_no_metal_rather_than_zero():
    lot = builders.received()[0]
    said = page(lot)
    assert "Not valued yet" in said
    assert "Au at" not in said
    assert "Au at" in page(builders.valued(lot))


def test_a_bar_shows_its_stamp():
    said = page(builders.bar("A000017"))
    assert "A000017" in said
    assert "HFR" in said
    assert "999.9" in said


@pytest.mark.parametrize(
    ("who", "offered", "not_offered"),
    [
        (people.clara_compliance, ["/clearance/?lot=", "/trace/"], ["/plant/?lot=", "/vault/?lot="]),
        (people.otto_operator, ["/plant/?lot=", "/vault/?lot="], ["/clearance/?lot=", "/trace/"]),
        (people.anna_assayer, ["/laboratory/?lot="], ["/clearance/?lot="]),
        (people.adam_auditor, ["/trace/"], ["?lot=", "/plant/correct/"]),
        (people.matt_accountant, ["/trace/", "/plant/correct/"], ["/clearance/?lot="]),
    ],
)
def test_a_viewer_is_offered_what_they_may_do(who, offered, not_offered):
    said = page(builders.received()[0], who)
    assert all(address in said for address in offered)
    assert not any(address in said for address in not_offered)


def test_an_empty_lot_is_offered_to_nobody():
    lot = builders.received()[0]
    reverse(operation=builders.receipt_of(lot), reason="Twice", at=timezone.now(), by=people.mona_manager())
    assert "?lot=" not in page(builders.fresh(lot.number), people.otto_operator)


def test_holds_and_releases_are_on_the_page_with_their_reasons():
    lot = builders.released(builders.held(builders.received()[0], reason="No papers"), reason="Papers came")
    said = page(lot)
    assert "No papers" in said
    assert "Papers came" in said


def test_the_page_costs_the_same_for_three_handovers_as_for_one():
    builders.places()
    lot = builders.handed_over(builders.received()[0], people.sam_sampler(), "LAB")
    client = people.signed_in(people.adam_auditor())
    with CaptureQueriesContext(connection) as one:
        client.get(f"/lot/{lot.number}/")
    for who in (people.otto_operator, people.vera_vault):
        lot = builders.handed_over(lot, who(), "VAULT")
    with CaptureQueriesContext(connection) as three:
        client.get(f"/lot/{lot.number}/")
    assert len(three) == len(one)


def test_a_number_from_elsewhere_may_hold_any_sign():
    number = "A/1?#%-ü"
    lines = [
        {"record": "header", "format": "custody-history", "version": 1},
        {"record": "party", "code": "P/9", "name": "Ketter", "country": "PE"},
        {
            "record": "operation",
            "number": "OP/1",
            "kind": "receive",
            "at": "2024-01-02T09:00:00+00:00",
            "party": "P/9",
            "outputs": [
                {"lot": number, "form": "dore", "gross_g": "1.000", "origin": {"category": "mined", "country": "PE"}}
            ],
        },
    ]
    import_history(lines=[json.dumps(line) for line in lines])
    client = people.signed_in(people.clara_compliance())
    builders.refinery()
    found = client.get("/find/", {"code": number})
    said = client.get(found.url).content.decode()
    assert found.status_code == 302
    for name, arguments in (("trace", [number, "back"]), ("receipt", ["OP/1"]), ("operation", ["OP/1"])):
        assert reverse_url(name, args=arguments) in said
        assert client.get(reverse_url(name, args=arguments)).status_code == 200
    assert client.get(reverse_url("party", args=["P/9"])).status_code == 200
