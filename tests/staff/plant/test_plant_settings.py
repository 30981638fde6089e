"""The plant's settings: a manager's, kept row by row, in force from a date on."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from custody.models import PlantSettings
from custody.queries import planner
from tests import builders, people

pytestmark = pytest.mark.django_db


def send(person=people.mona_manager, key=None, **changes):
    client = people.signed_in(person())
    form = client.get("/plant/settings/").context["form"]
    data = {name: form[name].field.prepare_value(form[name].initial) for name in form.fields}
    data = {name: "" if value is None else value for name, value in data.items()}
    today = timezone.localdate().isoformat()
    return client.post("/plant/settings/", data | {"request_key": str(key or uuid4()), "valid_from": today} | changes)


def test_the_page_sent_back_untouched_is_the_defaults_of_common_practice():
    builders.refinery()
    assert send().url == "/plant/settings/"
    kept, fresh = PlantSettings.objects.get(), PlantSettings()
    for column in PlantSettings._meta.fields:
        if column.name not in ("id", "valid_from", "set_by", "set_at", "request_key"):
            assert getattr(kept, column.attname) == getattr(fresh, column.attname), column.name
    assert kept.set_by == people.mona_manager()


def test_a_change_holds_from_its_date_and_earlier_rows_stay():
    builders.refinery()
    today = timezone.localdate()
    send(direct_silver_ppm="8", batch_gross_mg="5000", metabisulfite_excess_ppm="107", nitric_density="1.40")
    send(direct_silver_ppm="9", valid_from=(today + timedelta(days=2)).isoformat())
    now, later = planner.settings_on(today), planner.settings_on(today + timedelta(days=2))
    assert (now.direct_silver_ppm, now.batch_gross_mg, now.metabisulfite_excess_ppm) == (80_000, 5_000_000, 1_070_000)
    assert (now.nitric_density, later.direct_silver_ppm) == (1400, 90_000)
    assert planner.settings_on(today - timedelta(days=1)).pk is None


def test_a_form_sent_twice_is_one_row():
    builders.refinery()
    key = uuid4()
    send(key=key), send(key=key)
    assert PlantSettings.objects.count() == 1


def test_the_limits_of_the_day_are_those_of_the_planner():
    builders.refinery()
    send(batch_silver_ppm="4", direct_silver_ppm="4")
    (lot,) = builders.ready(100, Au=900_000, Ag=50_000)
    page = people.signed_in(people.otto_operator()).get("/plant/planner/", {"lot": lot.number}).content.decode()
    assert "Ag is 5.00 %, more than 4.00 %." in page
    assert "its chloride closes over the metal" in page


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"direct_silver_ppm": "20"}, "at most what the crust allows"),
        ({"gold_share_ppm": "0"}, "between nothing and the whole"),
        ({"gold_share_ppm": "100"}, "between nothing and the whole"),
        ({"least_gold_ppm": "101"}, "101"),
        ({"nitric_strength_ppm": "0"}, "An acid has a strength"),
        ({"nitric_density": "0"}, "density"),
        ({"nitric_density": "14.1"}, "Check the decimal point"),
        ({"hydrochloric_density": "99999999"}, "Check the decimal point"),
        ({"nitric_density": "9" * 30}, "density"),
        ({"iron_excess_ppm": "901"}, "Check it"),
        ({"iron_excess_ppm": "1,5"}, "excess"),
        ({"valid_from": "2020-01-01"}, "from today or a later day"),
        ({"valid_from": "soon"}, "Give a day, like"),
        ({"silver_way": "magic"}, "magic"),
        ({"batch_gross_mg": "-1"}, "-1"),
    ],
)
def test_what_contradicts_or_can_not_be_read_is_said_and_kept(changes, said):
    builders.refinery()
    answer = send(**({"note": "A note that stays"} | changes))
    assert answer.status_code == 200
    page = answer.content.decode()
    assert said in page
    assert "A note that stays" in page
    assert not PlantSettings.objects.exists()


@pytest.mark.parametrize("person", people.EVERYBODY)
def test_a_manager_sets_and_staff_reads(person):
    builders.refinery()
    client = people.signed_in(person())
    assert client.get("/plant/settings/").status_code == (403 if person in people.CUSTOMERS else 200)
    if person is not people.mona_manager:
        assert client.post("/plant/settings/", {}).status_code == 403
    assert not PlantSettings.objects.exists()
