"""Two tablets beside one scale: what it sent once is one weighing, whoever sends the form first."""

import pytest
from django.utils import timezone

from custody.actions.readings import keep_reading
from custody.models import Weighing
from tests import builders, people

WEIGHING = """
INSERT INTO custody_weighing (lot_id, scale_id, gross_mg, tare_mg, net_mg, gross_reading_id, tare_reading_id, purpose,
    at, by_id) VALUES (%s, %s, %s, %s, %s, %s, %s, 'weighed again', %s, %s) RETURNING 'kept'
"""
IS_READING = "custody_is_reading(bigint, bigint, bigint)"


@pytest.fixture
def sent(committed_db):
    """Weighings that all use one reading: as their gross, and as their tare."""
    (lot,) = builders.received(5_000_000)
    scale, fiona, now = builders.scale(), people.fiona_frontdesk(), timezone.now()
    one = keep_reading(scale=scale, value_ug=10**9, stable=True, line="", read_at=now, by=fiona, key="1").pk
    rest = (timezone.now(), fiona.pk)
    gross = (WEIGHING, (lot.pk, scale.pk, 1_000_000, 0, 1_000_000, one, None, *rest))
    tare = (WEIGHING, (lot.pk, scale.pk, 5_000_000, 1_000_000, 4_000_000, None, one, *rest))
    return [gross, tare] * 4


def used() -> int:
    return Weighing.objects.exclude(gross_reading=None, tare_reading=None).count()


def test_a_reading_is_used_by_one_of_many(sent, writers):
    results = writers(sent)
    assert sorted(results) == ["kept", *["reading"] * (len(sent) - 1)]
    assert used() == 1


def test_control_without_the_lock_it_is_used_twice(sent, writers, rewritten):
    rewritten(IS_READING, "pg_advisory_xact_lock(hashtextextended('reading', reading))", "pg_sleep(0)")
    rewritten("custody_weighing_on_a_checked_scale()", "RETURN NEW;", "PERFORM pg_sleep(0.3); RETURN NEW;")
    results = writers(sent)
    assert results.count("kept") == 2  # once as a gross, once as a tare
    assert used() == 2
