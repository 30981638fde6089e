"""The plant's board: what stands where, what is open, what waits for the viewer."""

from datetime import timedelta

import pytest
from django.db import connection
from django.db.models import Sum
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.models import Lot
from custody.queries import plant
from tests import builders, people
from tests.staff.plant.posting import body, sent

pytestmark = pytest.mark.django_db


def shown(answer, table):
    return [str(row.record.number) for row in answer.context[table].rows]


def test_ready_is_what_the_operator_holds_and_compliance_released():
    (mine,) = builders.ready(100)
    (waiting,) = [builders.handed_over(lot, people.otto_operator()) for lot in builders.received()]
    held = builders.held(builders.handed_over(builders.received()[0], people.otto_operator()))
    builders.handed_over(builders.ready(100)[0], people.vera_vault(), "VAULT")
    answer = people.signed_in(people.otto_operator()).get("/plant/")
    assert shown(answer, "ready") == [mine.number]
    assert shown(answer, "waiting") == [waiting.number]
    assert set(shown(answer, "standing")) == {mine.number, waiting.number, held.number}
    narrowed = people.signed_in(people.otto_operator()).get("/plant/", {"place": builders.place("LAB").pk})
    assert shown(narrowed, "standing") == []


def open_run(code="VESSEL-1"):
    builders.places()
    client = people.signed_in(people.otto_operator())
    rows = {"in": [{"lot": builders.ready(100)[0].number}], "add": [{"what": "acid", "gross": "400"}]}
    sent(client, "/plant/charge/", body(rows=rows, vessel=builders.place(code).pk, step="dissolve"))


def test_an_open_run_says_what_it_holds_and_whether_it_is_late():
    open_run()
    (run,) = plant.open_runs(people.otto_operator())
    assert run.content.au_mg == 80_000
    assert run.due - run.since == timedelta(hours=24)
    assert run.due_words(run.since + timedelta(hours=21, minutes=59)) == "due in 2 hours"
    assert run.due_words(run.since + timedelta(days=4, minutes=1)) == "overdue by 3 days"
    assert not run.overdue(run.due)
    page = people.signed_in(people.adam_auditor()).get("/plant/").content.decode()
    assert "due in 23 hours" in page
    assert "Work the ticked lots" not in page, "an auditor works nothing"


def cards_of(answer):
    return {card.title.split()[0]: card for card in answer.context["cards"]}


def figures(card):
    return {fact.label: fact.mg for fact in card.facts if fact.mg != ""}


def test_every_place_says_what_is_there_and_all_together_are_the_book():
    (mine,) = builders.ready(100)
    builders.handed_over(builders.ready(1000)[0], people.vera_vault(), "VAULT")
    builders.received(250_000)
    open_run("CELL-1")
    answer = people.signed_in(people.adam_auditor()).get("/plant/")
    cards = cards_of(answer)
    assert figures(cards["FURNACE-1"])["Au"] == 80_000
    assert figures(cards["COUNTER"]) == {"Gross": 250_000, "Au": 0, "Ag": 0, "Cu": 0, "Of it not valued": 250_000}
    assert figures(cards["VAULT"])["Ag"] == 150_000
    assert not cards["VAULT"].rows, "a vault is told in total"
    assert [lot.number for lot, _ in cards["FURNACE-1"].rows] == [mine.number]
    book = Lot.objects.aggregate(gross=Sum("gross_mg"), Au=Sum("au_mg"), Ag=Sum("ag_mg"), Cu=Sum("cu_mg"))
    totals = figures(answer.context["totals"])
    assert totals == {
        "Gross": book["gross"], "Au": book["Au"], "Ag": book["Ag"], "Cu": book["Cu"],
        "Of the gross not valued yet": 250_000,
    }  # fmt: skip
    for name, label in (("gross", "Gross"), ("Au", "Au"), ("Ag", "Ag")):
        assert sum(figures(card)[label] for card in cards.values()) == book[name]


def test_what_waits_too_long_and_what_is_overdue_is_said():
    builders.ready(100, at=timezone.now() - timedelta(days=2))
    builders.ready(100)
    answer = people.signed_in(people.otto_operator()).get("/plant/")
    card = cards_of(answer)["FURNACE-1"]
    assert (card.word, [late for _, late in card.rows]) == ("1 waiting too long", [True, False])
    assert answer.context["overdue"] == "overdue at 1 place"
    assert "too long" in answer.content.decode()


def test_a_place_shows_its_oldest_lots_and_leads_to_all():
    builders.ready(*[100] * 7)
    browser = people.signed_in(people.otto_operator())
    card = cards_of(browser.get("/plant/"))["FURNACE-1"]
    assert (len(card.rows), card.more) == (5, "All 7 lots")
    assert len(browser.get(f"/plant/{card.more_url}").context["standing"].rows) == 7


def test_a_scanned_run_or_vessel_leads_to_its_run():
    open_run()
    (run,) = plant.open_runs(people.otto_operator())
    for code in (run.run.number, "vessel-1"):
        answer = people.signed_in(people.adam_auditor()).get("/plant/", {"lot": code})
        assert answer.url == f"/plant/run/{run.run.number}/"


def test_ticked_lots_go_along_to_the_step():
    one, two = builders.ready(100, 100)
    client = people.signed_in(people.otto_operator())
    page = client.get("/plant/step/", {"lot": [one.number, two.number]}).content.decode()
    assert f"/plant/step/melt/?lot={one.number}&amp;lot={two.number}" in page
    sampler = people.signed_in(people.sam_sampler()).get("/plant/step/").content.decode()
    assert "/plant/step/melt/" in sampler
    assert "/plant/step/dissolve/" not in sampler


def test_asked_about_one_lot_the_plant_shows_its_steps():
    sampler = people.signed_in(people.sam_sampler())
    answer = sampler.get("/plant/", {"lot": "L-1"}, follow=True)
    assert answer.redirect_chain == [("/plant/step/?lot=L-1", 302)]
    page = answer.content.decode()
    assert "/laboratory/sample/L-1/" in page
    assert "/sampling/melt/?lot=L-1" in page
    operator = people.signed_in(people.otto_operator()).get("/plant/step/?lot=L-1").content.decode()
    assert "/laboratory/sample/" not in operator
    assert people.signed_in(people.adam_auditor()).get("/plant/", {"lot": "L-1"}).status_code == 200


def test_the_board_asks_as_often_for_one_lot_and_run_as_for_three():
    client = people.signed_in(people.otto_operator())

    def asked():
        with CaptureQueriesContext(connection) as queries:
            client.get("/plant/")
        return len(queries)

    builders.ready(100)
    open_run("VESSEL-1")
    asked()
    once = asked()
    builders.ready(100, 100)
    open_run("VESSEL-2")
    assert asked() == once
    assert Lot.objects.filter(gross_mg__gt=0).count() == 5


@pytest.mark.parametrize("person", people.EVERYBODY)
def test_staff_reads_the_board_and_customers_do_not(person):
    answer = people.signed_in(person()).get("/plant/")
    assert answer.status_code == (403 if person in people.CUSTOMERS else 200)
