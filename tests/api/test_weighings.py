"""Scales over the API: what they send is kept once, and fills a form; it is no weighing by itself."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from custody.actions.scales import set_scale_in_use
from custody.models import ScaleReading
from tests import builders, people
from tests.api.conftest import Program
from tests.api.test_operations import said

READING = {
    "scale": "BENCH-2",
    "reading": "1234.567",
    "unit": "g",
    "stable": True,
    "read_at": "2024-01-02T09:00:00+00:00",
    "line": "ST,+01234.567 g",
}


@pytest.fixture
def fiona(db):
    builders.scale()
    return Program(people.fiona_frontdesk())


@pytest.mark.parametrize(
    ("reading", "unit", "value_ug", "value_g"),
    [
        ("1234.567", "g", 1_234_567_000, "1234.567000"),
        ("0.000001", "g", 1, "0.000001"),
        ("12.345", "mg", 12_345, "0.012345"),
        ("1.000000001", "kg", 1_000_000_001, "1000.000001"),
        ("-0.010", "g", -10_000, "-0.010000"),
    ],
)
def test_a_reading_is_kept_to_the_microgram(fiona, reading, unit, value_ug, value_g):
    answer = fiona.post("weighings", READING | {"reading": reading, "unit": unit})
    assert answer.status_code == 201
    kept = ScaleReading.objects.get()
    assert answer.json() == {
        "id": kept.pk,
        "scale": "BENCH-2",
        "value_g": value_g,
        "stable": True,
        "read_at": "2024-01-02T09:00:00Z",
        "replayed": False,
    }
    assert (kept.value_ug, kept.by, kept.line) == (value_ug, fiona.person, "ST,+01234.567 g")


def test_the_same_key_is_kept_once(fiona):
    first = fiona.post("weighings", READING).json()
    again = fiona.post("weighings", READING)
    assert (again.status_code, again.json()) == (200, first | {"replayed": True})
    other = said(fiona.post("weighings", READING | {"reading": "1234.568"}), 409)
    assert (other["code"], other["field"]) == ("request_key", "Idempotency-Key")
    assert ScaleReading.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "field"),
    [
        ({"reading": "1,234.5"}, "reading"),
        ({"reading": "1234.5 g"}, "reading"),
        ({"reading": "1234.5678901"}, "reading"),
        ({"reading": "1e3"}, "reading"),
        ({"reading": "--1"}, "reading"),
        ({"reading": "NaN"}, "reading"),
        ({"reading": "9" * 1000}, "reading"),
        ({"reading": 1234}, "reading"),
        ({"unit": "lb"}, "unit"),
        ({"stable": "yes"}, "stable"),
        ({"stable": 1}, "stable"),
        ({"read_at": "2024-01-02T09:00:00"}, "read_at"),
        ({"read_at": "noon"}, "read_at"),
        ({"read_at": "2024-01-02T09:00:00+23:59"}, "read_at"),
        ({"read_at": 1704186000}, "read_at"),
        ({"colour": "red"}, "colour"),
        ({"scale": ""}, "scale"),
        ({"scale": "B\0"}, "scale"),
        ({"line": "x" * 121}, "line"),
    ],
)
def test_what_is_no_reading_is_not_readable(fiona, changed, field):
    problem = said(fiona.post("weighings", READING | changed), 400)
    assert (problem["code"], problem["field"]) == ("not_readable", field)
    assert not ScaleReading.objects.exists()


@pytest.mark.parametrize("body", ["", " ", "[]", '"x"', "{}", '{"scale":1.5}', '{"scale":"A","scale":"B"}', b"\xff"])
def test_a_body_that_is_none_is_not_readable(fiona, body):
    assert said(fiona.post("weighings", body), 400)["code"] == "not_readable"


def test_a_large_body_and_another_media_type(fiona):
    assert said(fiona.post("weighings", " " * 1_000_001), 413)
    wrong = {"Content-Type": "application/x-www-form-urlencoded"}
    assert said(fiona.post("weighings", "scale=BENCH-2", **wrong), 415)
    assert said(fiona.post("weighings", READING, key=None), 400)["field"] == "Idempotency-Key"


def test_a_scale_that_is_not_in_use_is_not_there(fiona):
    assert said(fiona.post("weighings", READING | {"scale": "NONE"}), 404)["field"] == "scale"
    set_scale_in_use(scale=builders.scale(), active=False, by=people.mona_manager())
    assert said(fiona.post("weighings", READING), 404)["field"] == "scale"


def test_more_than_any_scale_weighs_breaks_a_rule(fiona):
    assert said(fiona.post("weighings", READING | {"reading": "100000000.001"}), 422)


@pytest.mark.parametrize("who", people.EVERYBODY)
def test_who_weighs_sends_readings(fiona, who):
    weighs = who in (
        people.fiona_frontdesk,
        people.sam_sampler,
        people.anna_assayer,
        people.otto_operator,
        people.vera_vault,
    )
    answer = Program(who()).post("weighings", READING, key=who.__name__)
    assert answer.status_code == (201 if weighs else 403), answer.json()


def test_scales_are_listed_with_their_state(fiona):
    builders.scale("FLOOR-1", checked=False)
    assert fiona.get("scales").json() == [
        {"code": "BENCH-2", "name": "Bench scale 2", "accuracy": "II", "state": "checked today"},
        {"code": "FLOOR-1", "name": "Floor scale 1", "accuracy": "III", "state": "not checked today"},
    ]


def test_the_list_costs_the_same_for_many(fiona):
    def cost():
        with CaptureQueriesContext(connection) as queries:
            fiona.get("scales")
        return len(queries)

    few = cost()
    builders.scale("FLOOR-1")
    builders.scale("SHOP-1")
    assert cost() == few
