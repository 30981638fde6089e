"""Many hands on one lot at the same moment: it passes once."""

import json

import pytest
from django.utils import timezone

from custody.models import Handover, Weighing
from tests import builders, people

LOCKS = "custody_lock_lots(text[])"


def passing(lot, taker, **more):
    body = {
        "lot": lot.number, "to_person": taker.pk, "to_place": "VAULT", "by": people.fiona_frontdesk().pk,
        "at": timezone.now().isoformat(), "weighing": {"scale": "BENCH-2", "gross_mg": lot.gross_mg, "tare_mg": 0},
    }  # fmt: skip
    return "SELECT custody_hand_over(%s)", (json.dumps(body | more),)


@pytest.fixture
def lot(committed_db):
    builders.places()
    return builders.received()[0]


def test_one_lot_handed_to_two_people_at_once_passes_once(lot, writers, sound):
    takers = [people.vera_vault(), people.otto_operator()] * 4
    results = writers([passing(lot, taker) for taker in takers])
    assert len([one for one in results if isinstance(one, int)]) == 1
    assert {one for one in results if isinstance(one, str)} <= {"not_custodian", "before_last_event"}
    assert Handover.objects.count() == Weighing.objects.filter(purpose="handover").count() == 1


def test_control_without_the_lock_it_passes_to_several(lot, writers, rewritten):
    rewritten(LOCKS, " FOR UPDATE", "", "RETURN locked;", "PERFORM pg_sleep(0.3); RETURN locked;")
    results = writers([passing(lot, taker) for taker in (people.vera_vault(), people.otto_operator())])
    assert all(isinstance(one, int) for one in results)
    assert Handover.objects.count() == 2


def test_one_form_sent_by_eight_threads_is_recorded_once(lot, writers, sound):
    call = passing(lot, people.vera_vault(), request_key="11111111-1111-4111-8111-111111111111")
    results = writers([call] * 8)
    assert len(set(results)) == 1
    assert Handover.objects.count() == 1
