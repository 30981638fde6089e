"""Where it all went, on the screen and as CSV: by receipts, by route order, by days; who may ask; bad questions."""

import csv

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.routes import order_route
from custody.calc.route import Step
from tests import builders, people
from tests.staff.plant.posting import faults

pytestmark = pytest.mark.django_db
PAGE = "/trace/fates/"


def receipt():
    bar = builders.bar(grams=500)
    (parcel,) = [edge.parent for edge in bar.parent_edges.select_related("parent")]
    return builders.receipt_of(parcel).number


def ask(person=people.adam_auditor, **query):
    return people.signed_in(person()).get(PAGE, query)


def test_a_receipt_is_found_again_in_full():
    page = ask(receipts=receipt()).content.decode()
    assert "every milligram found again" in page
    assert "A000001" in page
    assert page.count("499.950") >= 3, "received, in the group, in the row and the sum"


def test_days_and_several_receipts_sum():
    first, second = receipt(), builders.receipt_of(builders.ready(100)[0]).number
    today = timezone.localdate().isoformat()
    for answer in (ask(receipts=f"{first} {second}"), ask(receipts=f"{first},{second}"), ask(first=today)):
        assert answer.context["panels"][0].facts[0].mg == 579_950


def test_a_route_order_stands_for_every_parcel_in_its_lots():
    one, two = builders.ready(100, 50)
    builders.ready(30)
    order = order_route(
        lots=[one.number, two.number], steps=[Step.CRUST, Step.AQUA_REGIA, Step.PRECIPITATE, Step.MELT],
        wanted_ppm=999_500, at=timezone.now(), by=people.otto_operator(),
    )  # fmt: skip
    answer = ask(people.otto_operator, order=order.number)
    assert {parcel.number for parcel in answer.context["parcels"]} == {one.number, two.number}
    assert answer.context["panels"][0].facts[0].mg == 120_000
    page = people.signed_in(people.otto_operator()).get(f"/plant/orders/{order.number}/").content.decode()
    assert f"{PAGE}?order={order.number}" in page
    receipt = people.signed_in(people.adam_auditor()).get(f"/receipt/{builders.receipt_of(one).number}/")
    assert f"{PAGE}?receipts=" in receipt.content.decode()


def test_csv_carries_the_same_figures():
    answer = ask(receipts=receipt(), **{"as": "csv"})
    assert answer["Content-Disposition"].startswith("attachment")
    rows = list(csv.reader(b"".join(answer.streaming_content).decode().splitlines()))
    assert rows[1][:6] == ["bars of Au", rows[1][1], "A000001", "SHOP Bar workshop", "", "499.950"]
    assert [row[5] for row in rows[-2:]] == ["499.950", "499.950"]


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ({"receipts": "R-1"}, "There is no receipt R-1"),
        ({"order": "RO-1"}, "There is no route order RO-1"),
        ({"receipts": "R-1", "order": "RO-1"}, "Choose in one way"),
        ({"first": "soon"}, "Give a day"),
        ({"first": "2024-02-01", "last": "2024-01-01"}, "end before they begin"),
        ({"first": "2001-01-01", "last": "2001-01-02"}, "No parcel is found"),
    ],
)
def test_bad_questions_are_told(query, sentence):
    assert sentence in faults(ask(**query))


def test_who_may_ask():
    asking = {"adam", "matt", "clara", "mona", "otto"}
    for person in people.EVERYBODY:
        user = person()
        assert people.signed_in(user).get(PAGE).status_code == (200 if user.username in asking else 403), user


def test_the_page_asks_as_often_for_one_parcel_as_for_three():
    browser = people.signed_in(people.adam_auditor())
    day = timezone.localdate().isoformat()

    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(PAGE, {"first": day}).status_code == 200
        return len(queries)

    builders.ready(100)
    asked()
    once = asked()
    builders.ready(100, 100)
    assert asked() == once
