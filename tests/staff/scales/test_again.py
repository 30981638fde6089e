"""A lot weighed again by who holds it: kept, told, and no book changed."""

import pytest
from django.urls import reverse

from custody.models import Weighing
from tests import builders, people

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot():
    builders.scale("BENCH-2")
    return builders.handed_over(builders.received(100_000)[0], people.sam_sampler(), "LAB")


def page(person, lot):
    client = people.signed_in(person)
    path = reverse("weigh-again", args=[lot.number])
    shown = client.get(path)
    return client, path, shown


def typed(shown, **changes):
    form = shown.context["form"]
    said = {name: form[name].value() or "" for name in form.fields}
    at = form["at"].value().strftime("%Y-%m-%dT%H:%M")
    return said | {"scale": "BENCH-2", "at": at, "initial-at": at} | changes


def send(client, path, shown, **changes):
    return client.post(path, typed(shown, **changes), follow=True)


def test_it_is_kept_once_and_the_book_stays(lot):
    client, path, shown = page(people.sam_sampler(), lot)
    for _ in range(2):
        answer = send(client, path, shown, gross="100.01")
    (kept,) = Weighing.objects.filter(lot=lot, purpose="weighed again")
    assert (kept.net_mg, kept.by, kept.keyed) == (100_010, people.sam_sampler(), True)
    assert builders.fresh(lot.number).gross_mg == 100_000
    assert "the scales explain" in answer.content.decode()


def test_what_the_scales_do_not_explain_is_told(lot):
    client, path, shown = page(people.sam_sampler(), lot)
    answer = send(client, path, shown, gross="99.00")
    assert "1.000 g less than the book says" in answer.content.decode()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"gross": ""}, "is missing"),
        ({"gross": "-5"}, "gross"),
        ({"gross": "1e400"}, "gross"),
        ({"gross": "9999"}, "Use another scale"),
        ({"gross": "100", "tare": "100"}, "The tare is not less than the gross"),
        ({"gross": "100", "scale": "NONE"}, "Select a valid choice"),
    ],
)
def test_a_weight_that_is_none(lot, changes, sentence):
    client, path, shown = page(people.sam_sampler(), lot)
    answer = send(client, path, shown, **changes)
    faults = [fault for of_field in answer.context["form"].errors.values() for fault in of_field]
    assert any(sentence in fault for fault in faults), faults
    assert not Weighing.objects.filter(purpose="weighed again").exists()


def test_only_who_holds_it(lot):
    client, path, shown = page(people.otto_operator(), lot)
    answer = send(client, path, shown, gross="100.00")
    assert "another person" in answer.content.decode()
    assert not Weighing.objects.filter(purpose="weighed again").exists()


@pytest.mark.parametrize("person", [people.cora_customer, people.adam_auditor, people.stranger])
def test_others_may_not(lot, person):
    assert page(person(), lot)[2].status_code in (403, 404)
