"""Many hands at one box at the same moment: a bar lies in one box, a seal is on one."""

import json

import pytest
from django.utils import timezone

from custody.models import Box
from tests import builders, people

LOCKS = "custody_lock_lots(text[])"
CHECKED = "custody_check_packed(custody_lot,custody_lot,jsonb)"
PACK = "SELECT custody_pack_box(%s)"


@pytest.fixture
def bars(committed_db):
    builders.places()
    serials = ("B1", "B2", "B3")
    return [builders.handed_over(builders.bar(one, grams=100), people.vera_vault(), "VAULT") for one in serials]


def packing(*lots, seal):
    body = {"lots": [lot.number for lot in lots], "seal": seal, "at": timezone.now().isoformat()}
    return PACK, (json.dumps(body | {"by": people.vera_vault().pk}),)


def test_one_bar_packed_by_six_at_once_lies_in_one_box(bars, writers, sound):
    one, two, three = bars
    results = writers([packing(one, other, seal=f"S-{n}") for n, other in enumerate([two, three] * 3)])
    assert len([each for each in results if isinstance(each, int)]) == 1
    assert {each for each in results if isinstance(each, str)} == {"boxed"}


def test_control_without_the_lock_it_lies_in_two(bars, writers, rewritten):
    rewritten(LOCKS, " FOR UPDATE", "")
    rewritten(CHECKED, "PERFORM custody_check_access", "PERFORM pg_sleep(0.3); PERFORM custody_check_access")
    # Each form has a key of its own, as a page gives it: without one they would wait for each other.
    keys = ("11111111-1111-4111-8111-111111111111", "22222222-2222-4222-8222-222222222222")
    calls = []
    for n, key in enumerate(keys):
        query, (body,) = packing(bars[0], seal=f"S-{n}")
        calls.append((query, (json.dumps(json.loads(body) | {"request_key": key}),)))
    assert all(isinstance(each, int) for each in writers(calls))
    assert Box.objects.count() == 2


def test_one_seal_put_on_two_boxes_at_once_is_on_one(bars, writers, sound):
    results = writers([packing(lot, seal="S-1") for lot in bars[:2]])
    assert sorted(str(each) if isinstance(each, str) else "packed" for each in results) == ["box", "packed"]
