"""A cell over the book: current kept and replaced, cathodes weighed beside what the current should deposit."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.cells import keep_current
from custody.actions.work import Add, Make, Take, record_step
from custody.models import CellReading, Lot, Run
from custody.queries import cells
from custody.terms import Addition, Form, Kind
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


def charged(at=None, code="CELL-1"):
    """A gold cell, charged at a time with two anodes of 5 kg; gives its run."""
    builders.places()
    at = at or timezone.now() - timedelta(hours=30)
    lots = builders.ready(5_000, 5_000, at=at, Au=995_000, Ag=4_000)
    posted = record_step(
        kind=Kind.CHARGE, step=Kind.ELECTROLYSE_GOLD, at=at, by=people.otto_operator(),
        inputs=[Take(lot.number) for lot in lots],
        additions=(Add(Addition.ACID, 20_000_000),),
        outputs=[Make(Form.IN_PROCESS, 30_000_000, {"Au": 9_950_000, "Ag": 40_000}, vessel=code)],
    )  # fmt: skip
    return Run.objects.get(opened_by_id=posted.id)


def read(run, hours=24, amperes=150, after=0, **more):
    since = run.opened_by.at + timedelta(hours=after)
    return keep_current(
        run=run, from_at=since, to_at=since + timedelta(hours=hours), milliampere=amperes * 1000, at=timezone.now(),
        by=people.otto_operator(), **more,
    )  # fmt: skip


def drawn(run, mg, form=Form.CATHODE, after=24, au=None):
    content = Run.objects.get(pk=run.pk).content
    return record_step(
        kind=Kind.DRAW, inputs=[Take(content.number, mg, {"Au": mg if au is None else au})],
        outputs=[Make(form, mg, {"Au": mg if au is None else au}, place="SHOP")],
        at=run.opened_by.at + timedelta(hours=after), by=people.otto_operator(),
    )  # fmt: skip


def page_of(run, person=people.otto_operator):
    return people.signed_in(person()).get(f"/plant/run/{run.number}/cell/")


def minute(at):
    return timezone.localtime(at).strftime("%Y-%m-%dT%H:%M")


def test_the_weighed_deposit_stands_beside_faradays():
    """150 A over 24 hours deposit 8 818.91 g of gold (TRADE figures, by an independent program)."""
    run = charged()
    read(run, millivolt=1000)
    drawn(run, 8_700_000)
    cell = cells.cell_of(run)
    assert abs(cell.expected_mg() - 8_818_910) < 10
    assert (cell.weighed_mg(), cell.efficiency_ppm) == (8_700_000, 986_516)
    page = page_of(run).content.decode()
    assert "3600.00 Ah" in page
    assert "98.65 %" in page
    assert "as expected" in page
    assert "0.414 kWh for a kilogram" in page, "3.6 kWh for 8.7 kg"
    assert "<svg" in page
    assert "weighed</title>" in page


@pytest.mark.parametrize(
    ("mg", "word"),
    [(7_000_000, "too little deposit"), (9_500_000, "too much deposit"), (8_818_000, "as expected")],
)
def test_a_deposit_that_is_off_is_said_in_words(mg, word):
    run = charged()
    read(run)
    drawn(run, mg)
    assert word in page_of(run).content.decode()


def test_time_that_was_not_read_is_said():
    run = charged()
    read(run, hours=20, after=4)
    drawn(run, 7_300_000)
    assert "Some time was not read" in page_of(run).content.decode()


def test_scrap_and_slimes_are_no_deposit_and_the_end_follows():
    run = charged()
    read(run)
    drawn(run, 8_818_910)
    before = cells.cell_of(run).ends
    drawn(run, 500_000, Form.ANODE, after=25)
    drawn(run, 20_000, Form.SLIMES, after=25, au=5_000)
    cell = cells.cell_of(run)
    assert (cell.weighed_mg(), cell.back_mg) == (8_818_910, 505_000)
    assert cell.ends < before, "what came back is not deposited any more"


def test_current_is_kept_from_the_form_without_a_gap():
    run = charged()
    browser = people.signed_in(people.otto_operator())
    address = f"/plant/run/{run.number}/cell/"
    first = body(from_at=minute(run.opened_by.at), current="120.5", voltage="1.2")
    first["at"] = minute(run.opened_by.at + timedelta(hours=8))
    assert browser.post(address, first).status_code == 302
    kept = CellReading.objects.get()
    assert (kept.from_at, kept.milliampere, kept.millivolt) == (run.opened_by.at, 120_500, 1_200)
    again = browser.post(address, first)
    assert again.status_code == 302
    assert CellReading.objects.count() == 1, "sent twice, kept once"
    offered = browser.get(address).context["form"]
    second = body(from_at=offered["from_at"].value().strftime("%Y-%m-%dT%H:%M"), current="118")
    assert browser.post(address, second).status_code == 302
    assert CellReading.objects.last().from_at == kept.to_at


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"current": "12,5"}, "comma"),
        ({"current": ""}, "Mean current, A is missing."),
        ({"current": "1e9"}, "exponent"),
        ({"current": "-3"}, "negative"),
        ({"current": "99999999"}, "between zero and 20000 A"),
        ({"voltage": "400"}, "between zero and 100 V"),
        ({"from_at": "2020-01-01T00:00"}, "not under way"),
        ({"from_at": "9999-01-01T00:00"}, "a time that is past"),
        ({"from_at": "soon"}, "Give a date and a time"),
    ],
)
def test_bad_readings_are_refused_and_what_was_typed_is_kept(changed, sentence):
    run = charged()
    data = body(from_at=minute(run.opened_by.at), current="150", voltage="1.4") | {"note": "kept words"} | changed
    answer = people.signed_in(people.otto_operator()).post(f"/plant/run/{run.number}/cell/", data)
    assert sentence in faults(answer)
    assert "kept words" in answer.content.decode()
    assert not CellReading.objects.exists()


def test_a_wrong_reading_is_replaced_with_its_reason():
    run = charged()
    wrong = read(run, amperes=1500)
    browser = people.signed_in(people.otto_operator())
    address = f"/plant/run/{run.number}/cell/?replaces={wrong.pk}"
    page = browser.get(address)
    assert page.context["form"]["current"].value() == "1500"
    data = body(from_at=minute(wrong.from_at), current="150", note="") | {"at": minute(wrong.to_at)}
    assert "Say why the reading is replaced." in faults(browser.post(address, data))
    assert browser.post(address, data | {"note": "a nought too many"}).status_code == 302
    cell = cells.cell_of(run)
    assert [(one.from_at, one.to_at, one.milliampere) for one in cell.currents] == [
        (wrong.from_at, wrong.to_at, 150_000)
    ]
    assert "a nought too many" in page_of(run).content.decode()


def test_who_sees_a_cell_and_who_keeps_its_current():
    run = charged()
    for person in people.EVERYBODY:
        browser = people.signed_in(person())
        seen = 403 if person in people.CUSTOMERS else 200
        assert page_of(run, person).status_code == seen
        assert browser.get("/plant/cells/").status_code == seen
        data = body(from_at=minute(run.opened_by.at), current="1")
        worker = person is people.otto_operator
        assert browser.post(f"/plant/run/{run.number}/cell/", data).status_code == (302 if worker else 403)
    assert people.signed_in(people.otto_operator()).get("/plant/run/RUN00-1/cell/").status_code == 404


def test_the_list_asks_as_often_for_one_cell_as_for_three():
    browser = people.signed_in(people.adam_auditor())

    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert browser.get("/plant/cells/").status_code == 200
        return len(queries)

    read(charged())
    asked()
    once = asked()
    read(charged(code="VESSEL-1"))
    read(charged(code="VESSEL-2"))
    assert asked() == once


def cast(*lots):
    """An anode of each lot."""
    for lot in lots:
        record_step(
            kind=Kind.CAST_ANODES, inputs=[Take(lot.number)], at=timezone.now(), by=people.otto_operator(),
            outputs=[Make(Form.ANODE, lot.gross_mg, {"Au": lot.au_mg, "Ag": lot.ag_mg}, place="FURNACE-1")],
        )  # fmt: skip
    return list(Lot.objects.filter(form=Form.ANODE, gross_mg__gt=0).order_by("id"))


def charge(browser, *lots, acid="20000"):
    rows = {"in": [{"lot": lot.number} for lot in lots], "add": [{"what": "acid", "gross": acid}]}
    sent(browser, "/plant/charge/", body(rows=rows, vessel=builders.place("CELL-1").pk, step="electrolyse gold"))
    return Run.objects.get(finished_by=None)


def test_a_cell_over_weeks_through_its_pages():
    """Charged, charged again, its current kept, cathodes, scrap and slimes drawn, finished; its electrolyte goes on."""
    builders.places()
    browser = people.signed_in(people.otto_operator())
    one, two, three = cast(*builders.ready(1_000, 1_000, 1_000, Au=995_000, Ag=4_000))
    run = charge(browser, one)
    address = f"/plant/run/{run.number}"
    begun = run.opened_by.at
    assert f'href="{address}/cell/"' in browser.get(f"{address}/").content.decode()
    keep_current(
        run=run, from_at=begun, to_at=timezone.now(), milliampere=150_000, at=timezone.now(), by=people.otto_operator()
    )
    again = charge(browser, two, acid="100")
    assert (again.pk, cells.cell_of(run).anodes_mg) == (run.pk, 1_990_000), "charged again it is the same run"
    products = [
        {"form": "cathode", "gross": "1500", "Au": "1500", "place": "SHOP"},
        {"form": "anode", "gross": "200", "Au": "199", "Ag": "0.8", "place": "SHOP"},
        {"form": "slimes", "gross": "10", "Au": "2", "Ag": "7.1", "place": "SHOP"},
    ]
    sent(browser, f"{address}/draw/", body(rows={"out": products, "in": [{}]}, scale=builders.scale().code))
    cell = cells.cell_of(run)
    assert (cell.weighed_mg(), cell.back_mg) == (1_500_000, 201_000)
    page = browser.get(f"{address}/cell/").content.decode()
    assert "289.000" in page, "what stays of the gold is held in the electrolyte, by the book"
    carried = {"form": "solution", "gross": "20390", "Au": "289", "Ag": "0.1", "place": "SHOP"}
    rows = {"out": [carried], "in": [{}], "loss": [], "add": []}
    sent(browser, f"{address}/finish/", body(rows=rows, scale=scale_of_tanks()))
    assert browser.get(f"{address}/cell/").context["form"] is not None, "a reading may be kept late"
    liquor = Lot.objects.get(form=Form.SOLUTION, gross_mg__gt=0)
    next_run = charge(browser, three, builders.handed_over(liquor, people.otto_operator(), "CELL-1"))
    assert next_run.pk != run.pk
    assert next_run.content.au_mg == 289_000 + 995_000
    assert cells.cell_of(next_run).anodes_mg == 995_000, "the electrolyte is no anode"


def scale_of_tanks():
    """A scale that weighs a tank."""
    return builders.scale("FLOOR-1").code
