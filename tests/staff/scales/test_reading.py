"""Readings that a scale sent: kept once, picked up once, and never taken on a browser's word."""

from datetime import UTC, datetime

import pytest
from django.urls import reverse

from custody.actions.readings import keep_reading
from custody.errors import NotAllowed, RequestKey, UnknownScale
from custody.models import Scale, ScaleReading, Weighing
from custody.web.forms import RowForm
from custody.web.weighing import WeighingFields, scale_choices, weighing_kwargs
from tests import builders, people

pytestmark = pytest.mark.django_db
READ_AT = datetime(2024, 1, 31, 14, 5, tzinfo=UTC)


class Row(WeighingFields, RowForm):
    pass


def send(scale: Scale, value_ug: int, key: str = "", *, stable: bool = True, by=None) -> ScaleReading:
    return keep_reading(
        scale=scale,
        value_ug=value_ug,
        stable=stable,
        line="ST,+001234.56  g",
        read_at=READ_AT,
        by=by or people.fiona_frontdesk(),
        key=key or f"{scale.code}-{value_ug}",
    )


def asked(person, **query):
    return people.signed_in(person).get(reverse("scale-reading"), query)


def row(**data):
    form = Row({"scale": "BENCH-2", "gross": "", "tare": ""} | data, **weighing_kwargs(people.fiona_frontdesk()))
    form.is_valid()
    return form


def test_a_reading_sent_twice_is_kept_once():
    scale = builders.scale()
    assert send(scale, 1_000_000_000, "k") == send(scale, 1_000_000_000, "k")
    with pytest.raises(RequestKey):
        send(scale, 1_000_000_001, "k")
    assert send(scale, 5_000_000, "k", by=people.vera_vault()).pk != ScaleReading.objects.first().pk
    assert ScaleReading.objects.count() == 2


def test_a_scale_out_of_use_sends_nothing_and_an_auditor_neither():
    scale = builders.scale()
    with pytest.raises(NotAllowed):
        send(scale, 1_000_000, by=people.adam_auditor())
    scale.active = False
    with pytest.raises(UnknownScale):
        send(scale, 1_000_000)


def test_only_a_reading_at_rest_newer_than_the_last_one_is_picked_up():
    scale, other = builders.scale(), builders.scale("FLOOR-1")
    first = send(scale, 1_000_000_000)
    fiona = people.fiona_frontdesk()
    assert asked(fiona, scale=scale.code).json() == {"last": first.pk}
    send(scale, 2_000_000_000, stable=False)
    send(other, 3_000_000_000)
    assert asked(fiona, scale=scale.code, after=first.pk).json() == {"last": first.pk}
    newer = send(scale, 1_234_567_500)
    answer = asked(fiona, scale=scale.code, after=first.pk).json()
    assert answer.pop("at")
    assert answer == {"last": newer.pk, "id": newer.pk, "grams": "1234.568", "exact": "1234.567500"}
    for after in ("-1", "9" * 30, "x"):
        assert asked(fiona, scale=scale.code, after=after).json() == {"last": newer.pk}


@pytest.mark.parametrize("person", people.EVERYBODY)
def test_readings_are_for_who_weighs(person):
    builders.scale()
    weighs = person in people.STAFF[:5]
    assert asked(person(), scale="BENCH-2").status_code == (200 if weighs else 403)


def test_a_row_takes_a_reading_only_as_the_scale_sent_it():
    scale, other = builders.scale(), builders.scale("FLOOR-1")
    gross, tare = send(scale, 1_002_500_000), send(scale, 2_500_000)
    shaking, elsewhere = send(scale, 7_000_000, stable=False), send(other, 1_002_500_000)
    said = {"gross": "1002.5", "tare": "2.5"}
    weighed = row(**said, gross_reading=gross.pk, tare_reading=tare.pk).weighed
    assert (weighed.gross_reading, weighed.tare_reading, weighed.net_mg) == (gross.pk, tare.pk, 1_000_000)
    for wrong in (tare.pk, elsewhere.pk, 10**17, "9" * 40, "x", "-1"):
        assert row(**said, gross_reading=wrong).weighed.gross_reading is None, wrong
    assert row(gross="7", gross_reading=shaking.pk).weighed.gross_reading is None
    (lot,) = builders.received(builders.parcel(1_000_000))
    Weighing.objects.create(
        lot=lot, scale=scale, gross_mg=1_002_500, net_mg=1_002_500, gross_reading=gross, purpose="weighed again",
        at=datetime.now(UTC), by=people.fiona_frontdesk(),
    )  # fmt: skip
    assert row(**said, gross_reading=gross.pk).weighed.gross_reading is None


@pytest.mark.parametrize(
    ("data", "field"),
    [
        ({"gross": "1,5"}, "gross"),
        ({"gross": "7000"}, "gross"),
        ({"gross": "0.1"}, "gross"),
        ({"gross": "5", "tare": "5"}, "tare"),
        ({"tare": "5"}, "gross"),
        ({"gross": "5", "scale": ""}, "scale"),
        ({"gross": "5", "scale": "NONE"}, "scale"),
    ],
)
def test_a_weighing_that_no_scale_can_have_done_is_refused_at_its_field(data, field):
    builders.scale()
    form = row(**data)
    assert list(form.errors) == [field]


def test_a_blank_row_is_no_weighing():
    builders.scale()
    form = row()
    assert form.is_valid()
    assert form.weighed is None


def test_choices_say_where_each_scale_stands():
    builders.scale()
    builders.scale("FLOOR-1", checked=False)
    builders.check(builders.scale("SHOP-1"), off_ug=10**6)
    assert dict(scale_choices()) == {
        "BENCH-2": "BENCH-2 Bench scale 2",
        "FLOOR-1": "FLOOR-1 Floor scale 1: not checked today",
        "SHOP-1": "SHOP-1 Workshop scale 1: failed its check",
    }
    builders.received(builders.parcel(1_000_000))
    assert weighing_kwargs(people.fiona_frontdesk())["scale"] == "BENCH-2"
    assert weighing_kwargs(people.vera_vault())["scale"] == ""
