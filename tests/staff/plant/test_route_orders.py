"""A route is ordered by name, kept as it was, and goes to the bench as a sheet of paper."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.issue_batch import issue_batch_sheet
from custody.actions.routes import order_route, set_plant
from custody.actions.work import Make, Take, record_step
from custody.calc.route import Step
from custody.documents.batch import render_batch
from custody.documents.fill_batch import batch_sheet
from custody.errors import NotAllowed
from custody.models import Document, PlantSettings, RouteOrder
from custody.queries import papers, planner
from custody.terms import Form, Kind
from tests import builders, people
from tests.documents.reading import codes, text

pytestmark = pytest.mark.django_db

DIRECT = [Step.AQUA_REGIA, Step.PRECIPITATE, Step.MELT]


def rich(*grams):
    return builders.ready(*(grams or (1000,)), Au=900_000, Ag=50_000, Cu=40_000)


def order(*lots, by=people.otto_operator, steps=DIRECT, **more):
    return order_route(
        lots=[lot.number for lot in lots or rich()], steps=steps, wanted_ppm=999_500, at=timezone.now(), by=by(), **more
    )


def send(lots, person=people.otto_operator, key=None, **changes):
    data = {
        "request_key": str(key or uuid4()),
        "lots": "\n".join(getattr(lot, "number", lot) for lot in lots),
        "wanted": "999.5",
        "steps": [str(step) for step in DIRECT],
        "note": "",
    }
    return people.signed_in(person()).post("/plant/orders/new/", data | changes)


def test_the_planner_leads_to_the_order_with_the_advice_ticked():
    (lot,) = rich()
    page = people.signed_in(people.otto_operator()).get("/plant/orders/new/", {"lot": lot.number, "wanted": "999.9"})
    assert page.context["form"]["wanted"].value() == "999.9"
    assert page.context["form"]["steps"].value() == [
        "aqua regia", "precipitation of gold", "gold electrolysis", "melt and cast",
    ]  # fmt: skip
    assert lot.number in page.content.decode()


def test_an_order_keeps_who_why_and_the_figures_of_then():
    (lot,) = rich()
    answer = send([lot])
    made = RouteOrder.objects.get()
    assert answer.url == f"/plant/orders/{made.number}/"
    assert made.ordered_by == people.otto_operator()
    assert made.steps == [str(step) for step in DIRECT]
    assert made.reasons == ["Silver is 5.00 %, under 10.00 %."]
    (line,) = made.lines.all()
    assert line.columns_mg == (1_000_000, 900_000, 50_000, 0, 0, 40_000)
    page = people.signed_in(people.adam_auditor()).get(answer.url).content.decode()
    assert "Otto Flux" in page
    assert "Issue the batch sheet" not in page, "an auditor issues nothing"
    # 900 g of gold: 0.723833 g of metabisulfite a gram, and half as much again.
    assert "977.175" in page
    assert "Local codes and licensed practice decide" in page


def test_a_form_sent_twice_is_one_order():
    (lot,) = rich()
    key = uuid4()
    assert send([lot], key=key).url == send([lot], key=key).url
    assert RouteOrder.objects.count() == 1
    (other,) = rich()
    assert send([other], key=key).status_code == 200, "the same key for other lots is refused"
    assert RouteOrder.objects.count() == 1


def test_another_route_than_the_advised_says_why():
    (lot,) = rich()
    own = {"steps": ["inquartation with silver", "nitric parting", "aqua regia", "precipitation of gold"]}
    refused = send([lot], **own)
    assert "say why it is ordered" in refused.content.decode()
    assert not RouteOrder.objects.exists()
    send([lot], **own, note="The parting vessel is free, the other is cracked.")
    made = RouteOrder.objects.get()
    assert made.steps == own["steps"]
    # A quarter gold: four times 900 g, less the 990 g of metal that is there.
    assert made.silver_to_add_mg == 2_610_000


def not_released():
    return [builders.handed_over(builders.valued(builders.received()[0]), people.otto_operator())]


def not_valued():
    return [builders.handed_over(builders.released(builders.received()[0]), people.otto_operator())]


def kept_apart():
    entry = builders.parcel(custody_model="identity preserved")
    (lot,) = builders.received(entry)
    return [builders.handed_over(builders.released(builders.valued(lot)), people.otto_operator()), *rich()]


@pytest.mark.parametrize(
    ("lots", "changes", "said"),
    [
        (not_released, {}, "is not released by compliance"),
        (not_valued, {}, "is not valued"),
        (kept_apart, {}, "may not be mixed with these lots"),
        (lambda: ["L-NONE"], {}, "There is no lot L-NONE"),
        (lambda: rich() * 2, {}, "Name each lot once"),
        (list, {}, "Lots is missing"),
        (rich, {"steps": []}, "Route is missing"),
        (rich, {"steps": ["alchemy"]}, "alchemy"),
        (rich, {"wanted": "1001"}, "1001"),
        (rich, {"wanted": "0"}, "0"),
        (rich, {"wanted": "a lot"}, "a lot"),
        (rich, {"note": "x" * 501}, "at most 500"),
        (rich, {"request_key": "x"}, "The page lost its key"),
    ],
)
def test_what_is_refused_is_said_and_kept(lots, changes, said):
    builders.refinery()
    answer = send(lots(), **({"note": "A note that stays"} | changes))
    assert answer.status_code == 200
    page = answer.content.decode()
    assert said in page
    assert changes.get("note", "A note that stays")[:20] in page
    assert not RouteOrder.objects.exists()


@pytest.mark.parametrize("person", people.EVERYBODY)
def test_who_orders_and_who_reads(person):
    made = order()
    client = people.signed_in(person())
    may_order = person in (people.otto_operator, people.mona_manager)
    assert client.get("/plant/orders/new/").status_code == (200 if may_order else 403)
    assert client.post(f"/plant/orders/{made.number}/sheet/").status_code == (302 if may_order else 403)
    reads = 403 if person in people.CUSTOMERS else 200
    assert client.get("/plant/orders/").status_code == reads
    assert client.get(f"/plant/orders/{made.number}/").status_code == reads
    if not may_order:
        with pytest.raises(NotAllowed):
            order(by=person)


def test_an_unknown_order_is_not_there():
    assert people.signed_in(people.otto_operator()).get("/plant/orders/RO26-99999/").status_code == 404


def test_its_number_scanned_leads_to_it():
    made = order()
    assert people.signed_in(people.otto_operator()).get("/find/", {"code": made.number.lower()}).url == (
        f"/plant/orders/{made.number}/"
    )


def standing(made):
    return planner.standing_of(planner.orders(people.otto_operator()).get(pk=made.pk)).word


def on_board():
    answer = people.signed_in(people.otto_operator()).get("/plant/")
    return {row.record.number for row in answer.context["orders"].rows}


def test_an_order_is_open_until_it_is_worked_or_replaced():
    (lot, other) = rich(1000, 500)
    first, own = order(lot), order(other)
    assert (standing(first), on_board()) == ("open", {first.number, own.number})
    assert "2 orders" in people.signed_in(people.otto_operator()).get("/").content.decode()
    second = order(lot)
    assert (standing(first), standing(second)) == ("replaced", "open")
    _melt(lot, 400_000)
    assert standing(second) == "begun"
    _melt(builders.fresh(lot.number), None)
    assert (standing(second), on_board()) == ("worked", {own.number})


def _melt(lot, part):
    taken = part or lot.gross_mg
    left = {
        metal: mg * taken // lot.gross_mg for metal, mg in (("Au", lot.au_mg), ("Ag", lot.ag_mg), ("Cu", lot.cu_mg))
    }
    record_step(
        kind=Kind.MELT,
        inputs=[Take(lot.number, part)],
        outputs=[Make(Form.MELT, taken, left)],
        at=timezone.now(),
        by=people.otto_operator(),
    )


def test_orders_are_listed_with_as_many_questions_for_one_as_for_three():
    client = people.signed_in(people.otto_operator())

    def asked(address):
        with CaptureQueriesContext(connection) as queries:
            client.get(address)
        return len(queries)

    made = order()
    addresses = ("/plant/orders/", "/plant/", f"/plant/orders/{made.number}/")
    for address in addresses:
        asked(address)
    once = [asked(address) for address in addresses]
    order(), order(*rich(100, 200))
    assert [asked(address) for address in addresses] == once


# The sheet


def test_the_sheet_says_what_goes_in_and_stays_as_it_was_issued():
    (lot,) = rich()
    made = order(lot)
    client = people.signed_in(people.otto_operator())
    client.post(f"/plant/orders/{made.number}/sheet/")
    client.post(f"/plant/orders/{made.number}/sheet/")
    second, first = Document.objects.filter(kind="batch sheet")
    assert (first.copy_no, second.copy_no) == (1, 2)
    said = text(papers.content_of(first))
    for part in (
        lot.number,
        made.number,
        "4 HAuCl4 + 3 Na2S2O5 + 9 H2O",
        "0.723833",
        "977.175",
        "Otto Flux",
        "Never add ammonia to a gold solution",
        "Local codes and licensed practice decide.",
        "nitric acid 68.00 % of 1.410 g/mL",
    ):
        assert part in said, part
    assert {made.number, lot.number} <= set(codes(papers.content_of(first))), "order and lots can be scanned"
    assert "copy 2" in text(papers.content_of(second))
    assert people.signed_in(people.cora_customer()).get(f"/papers/{first.pk}/").status_code == 404


def test_the_same_order_gives_the_same_bytes():
    made, at = order(), timezone.now()
    once, again = (
        render_batch(batch_sheet(made, copy_no=1, at=at), identifier=bytes(16), created=at) for _ in range(2)
    )
    assert once == again


def test_a_sheet_keeps_the_settings_under_which_its_route_was_ordered():
    set_plant(valid_from=timezone.localdate(), at=timezone.now(), by=people.mona_manager(), metabisulfite_excess_ppm=0)
    made = order()
    assert made.settings == PlantSettings.objects.get()
    set_plant(
        valid_from=timezone.localdate(), at=timezone.now(), by=people.mona_manager(), metabisulfite_excess_ppm=1_000_000
    )
    paper = issue_batch_sheet(order=made, at=timezone.now() + timedelta(minutes=1), by=people.otto_operator())
    assert "651.450" in text(papers.content_of(paper)), "0.723833 g a gram, as it was then"
