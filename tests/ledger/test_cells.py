"""Past the ORM: readings of one run's current lie apart and within the run, and stay as they were written."""

from datetime import timedelta

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.cells import keep_current
from custody.actions.work import Add, Lose, Make, Take, record_step
from custody.errors import CurrentOutsideRun, CurrentOverlaps
from custody.models import CellReading, Run
from custody.terms import Addition, Cause, Form, Kind
from tests import builders, people

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def run():
    """A silver cell under way for ten hours."""
    builders.places()
    at = timezone.now() - 10 * HOUR
    (lot,) = builders.ready(1_000, at=at, Ag=990_000)
    posted = record_step(
        kind=Kind.CHARGE, step=Kind.ELECTROLYSE_SILVER, inputs=[Take(lot.number)], at=at, by=people.otto_operator(),
        additions=(Add(Addition.ACID, 1_000_000),),
        outputs=[Make(Form.IN_PROCESS, 2_000_000, {"Ag": lot.ag_mg}, vessel="CELL-1")],
    )  # fmt: skip
    return Run.objects.get(opened_by_id=posted.id)


def read(run, since, until, **more):
    began = run.opened_by.at
    return keep_current(
        run=run, from_at=began + since * HOUR, to_at=began + until * HOUR, milliampere=10_000, at=timezone.now(),
        by=people.otto_operator(), **more,
    )  # fmt: skip


def finish(run, hours):
    content = Run.objects.get(pk=run.pk).content
    return record_step(
        kind=Kind.FINISH, inputs=[Take(content.number)], at=run.opened_by.at + hours * HOUR, by=people.otto_operator(),
        outputs=[Make(Form.SOLUTION, 1_900_000, {"Ag": content.ag_mg}, place="SHOP")],
        losses=(Lose(Cause.EFFLUENT, 100_000),), reason="The cell is taken down",
        countersign=Signature(people.mona_manager(), "Seen"),
    )  # fmt: skip


@pytest.mark.parametrize(("since", "until"), [(0, 4), (1, 3), (3, 5), (2, 4)])
def test_times_of_a_run_do_not_overlap(run, since, until):
    read(run, 2, 4)
    with pytest.raises(CurrentOverlaps):
        read(run, since, until)
    assert CellReading.objects.count() == 1


def test_times_that_touch_do_not_overlap(run):
    read(run, 2, 4)
    read(run, 4, 5)
    read(run, 0, 2)
    assert CellReading.objects.count() == 3


def test_a_reading_lies_within_its_run(run):
    with pytest.raises(CurrentOutsideRun):
        read(run, -1, 1)
    finish(run, 5)
    with pytest.raises(CurrentOutsideRun):
        read(run, 4, 6)
    read(run, 4, 5)


def test_no_run_ends_before_its_readings_do(run):
    """Told at the end of the transaction, which ``check_constraints`` stands for here."""
    read(run, 2, 8)
    before = transaction.savepoint()
    finish(run, 5)
    with pytest.raises(DatabaseError, match="goes on after this finish"), transaction.atomic():
        connection.check_constraints()
    transaction.savepoint_rollback(before)


def test_a_run_ends_with_its_last_reading(run):
    read(run, 2, 8)
    finish(run, 8)
    connection.check_constraints()


def test_a_reading_that_replaces_another_takes_over_its_time(run):
    wrong = read(run, 2, 4)
    better = read(run, 2, 5, replaces=wrong, note="The clock was read wrong")
    with pytest.raises(CurrentOverlaps):
        read(run, 3, 4)
    assert better.replaces == wrong
    unsaid = {"run": run, "milliampere": 1, "by": better.by, "at": better.at, "replaces": better}
    with pytest.raises(IntegrityError, match="replaced_with_a_reason"), transaction.atomic():
        CellReading.objects.create(**unsaid, from_at=better.from_at, to_at=better.to_at)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE custody_cellreading SET milliampere = 1",
        "DELETE FROM custody_cellreading",
        "TRUNCATE custody_cellreading",
    ],
)
def test_a_reading_stays_as_it_was_written(run, statement):
    read(run, 2, 4)
    with pytest.raises(DatabaseError, match="permission denied"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
