"""The day's flow on the screen: its picture and its tables say the same; days near it; bad days; who may see it."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from tests import builders, people
from tests.staff.plant.posting import faults

pytestmark = pytest.mark.django_db
PAGE = "/plant/flow/"


def rows(answer, table):
    return [dict(row.record) for row in answer.context[table].rows]


def test_the_day_shows_from_where_to_where():
    builders.bar(grams=500)
    answer = people.signed_in(people.adam_auditor()).get(PAGE)
    page = answer.content.decode()
    assert "received to value: 499.950 g Au" in page
    assert "cast to bars at SHOP: 499.950 g Au" in page
    assert rows(answer, "places")[-1] == {
        "place": "SHOP Bar workshop", "opening": 0, "came": 499_950, "went": 0, "closing": 499_950,
    }  # fmt: skip
    assert rows(answer, "crossed") == [{"what": "received", "came": 499_950, "went": 0}]
    gross = people.signed_in(people.adam_auditor()).get(PAGE, {"metal": "gross"})
    assert rows(gross, "places")[-1]["closing"] == 500_000


def test_another_day_opens_as_this_one_closed():
    builders.ready(100, at=timezone.now() - timedelta(days=1))
    (row,) = rows(people.signed_in(people.adam_auditor()).get(PAGE), "places")
    assert (row["opening"], row["came"], row["closing"]) == (80_000, 0, 80_000)
    before = timezone.localdate() - timedelta(days=2)
    answer = people.signed_in(people.adam_auditor()).get(PAGE, {"day": before.isoformat(), "metal": "Au"})
    assert "Nothing stood anywhere" in answer.content.decode()


@pytest.mark.parametrize("query", [{"day": "soon"}, {"day": ""}, {"day": "1066-01-01"}, {"day": "2024-02-30"}])
def test_a_bad_day_is_told(query):
    assert "day" in faults(people.signed_in(people.adam_auditor()).get(PAGE, query)).lower()


def test_a_strange_metal_is_told():
    answer = people.signed_in(people.adam_auditor()).get(PAGE, {"day": "2024-01-01", "metal": "Xx"})
    assert "Xx" in faults(answer)


@pytest.mark.parametrize("person", people.EVERYBODY)
def test_staff_sees_the_flow_and_customers_do_not(person):
    assert people.signed_in(person()).get(PAGE).status_code == (403 if person in people.CUSTOMERS else 200)


def test_the_flow_asks_as_often_for_one_lot_as_for_three():
    browser = people.signed_in(people.adam_auditor())

    def asked():
        with CaptureQueriesContext(connection) as queries:
            browser.get(PAGE)
        return len(queries)

    builders.ready(100)
    asked()
    once = asked()
    builders.ready(100, 100)
    assert asked() == once
