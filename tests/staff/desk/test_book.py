"""The book answers what it is asked, day bounds included, and says what it cannot read."""

from datetime import timedelta

import pytest
from django.utils import timezone

from custody.models import Operation
from tests import builders, people

pytestmark = pytest.mark.django_db


def listed(**asked) -> list[str]:
    answer = people.signed_in(people.adam_auditor()).get("/book/", asked)
    return [row.record.number for row in answer.context["table"].paginated_rows]


@pytest.fixture
def book():
    """Three operations: a receipt of yesterday, one of today, and the valuation of the second."""
    builders.refinery()
    old = builders.received(at=timezone.now() - timedelta(days=1))[0]
    new = builders.valued(builders.received()[0])
    value = Operation.objects.get(kind="value")
    return builders.receipt_of(old), builders.receipt_of(new), value, new


def test_the_newest_is_in_front(book):
    old, new, value, _ = book
    assert listed() == [value.number, new.number, old.number]


def test_kind_days_lot_and_person_narrow_the_list(book):
    old, new, value, lot = book
    assert listed(kind="value") == [value.number]
    assert listed(lot=lot.number.lower()) == [value.number, new.number]
    assert listed(person=people.mona_manager().pk) == [value.number]
    assert listed(first=new.day) == [value.number, new.number]
    assert listed(last=old.day) == [old.number]  # the last day counts
    assert listed(first=old.day, last=old.day, kind="receive") == [old.number]
    assert listed(lot="L-0") == []


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        ({"first": "2026-02-31"}, "Give a day"),
        ({"first": "2026-02-02", "last": "2026-02-01"}, "ends before it begins"),
        ({"kind": "alchemy"}, "valid choice"),
        ({"person": "x"}, "valid choice"),
    ],
)
def test_a_question_that_cannot_be_read_is_not_half_answered(book, asked, sentence):
    said = people.signed_in(people.adam_auditor()).get("/book/", asked).content.decode()
    assert sentence in said
    assert book[0].number not in said
