"""A month that is closed while somebody records into it; two charges into one vessel."""

import threading
from datetime import timedelta

import pytest
from django.utils import timezone

from custody.models import Lot, Operation, Period
from refinery import roles
from tests import builders, people
from tests.concurrency.conftest import outcome, posting, recorded, refusals


@pytest.fixture
def last_month():
    return timezone.now().replace(day=1, hour=9) - timedelta(days=10)


def receiving(at):
    return posting(
        kind="receive", at=at, by=people.fiona_frontdesk().pk, party=people.party().code, place="COUNTER",
        outputs=[{"form": "dore", "gross_mg": 1000, "origin": {"category": "mined", "country": "CA"}}],
    )  # fmt: skip


def closing(at):
    return "SELECT custody_close_period(%s, %s)::text", (at.date(), people.matt_accountant().pk)


def waits(monitor, process):
    """Whether that backend waits for a lock now."""
    for _ in range(100):
        found = monitor.execute("SELECT cardinality(pg_blocking_pids(%s))", (process,)).fetchone()[0]
        if found:
            return True
        threading.Event().wait(0.02)
    return False


@pytest.fixture
def two(committed_db, connect_as):
    """Two connections of the application, and a superuser who sees who waits."""
    builders.places()
    people.party()
    return connect_as(roles.APP), connect_as(roles.APP), connect_as("postgres")


def second(connection, call):
    """The call on another thread; gives the thread and the list that its outcome comes into."""
    answers = []
    thread = threading.Thread(target=lambda: answers.append(outcome(connection, *call)))
    thread.start()
    return thread, answers


def test_a_close_waits_for_the_operation_under_way(two, last_month, sound):
    first, other, monitor = two
    first.autocommit = False
    assert outcome(first, *receiving(last_month))["number"]
    thread, answers = second(other, closing(last_month))
    assert waits(monitor, other.info.backend_pid)
    first.commit()
    thread.join()
    assert answers == [""]
    assert Operation.objects.get().recorded_at < Period.objects.get(month=last_month.date().replace(day=1)).closed_at


def test_an_operation_waits_for_the_close_under_way(two, last_month):
    first, other, monitor = two
    first.autocommit = False
    assert outcome(first, *closing(last_month)) == ""
    thread, answers = second(other, receiving(last_month))
    assert waits(monitor, other.info.backend_pid)
    first.commit()
    thread.join()
    assert answers == ["closed_period"]
    assert not Operation.objects.exists()


def test_a_close_that_is_given_up_closes_nothing(two, last_month, sound):
    first, other, monitor = two
    first.autocommit = False
    assert outcome(first, *closing(last_month)) == ""
    thread, answers = second(other, receiving(last_month))
    assert waits(monitor, other.info.backend_pid)
    first.rollback()
    thread.join()
    assert answers[0]["number"]


def test_control_without_the_lock_an_operation_slips_in(two, last_month, rewritten):
    first, other, _ = two
    rewritten("custody_open_day(timestamptz)", "FOR KEY SHARE", "")
    people.fiona_frontdesk()
    assert outcome(other, *receiving(last_month))["number"]
    first.autocommit = False
    assert outcome(first, *closing(last_month)) == ""
    thread, answers = second(other, receiving(last_month))
    thread.join()
    first.commit()
    assert answers[0]["number"], "recorded although the close was under way"


def test_many_operations_race_one_close(committed_db, writers, last_month, sound):
    builders.places()
    calls = [receiving(last_month) for _ in range(15)]
    results = writers([*calls[:7], closing(last_month), *calls[7:]])
    taken, refused = recorded(results), refusals([result for result in results if result != ""])
    assert len(taken) + len(refused) == 15
    assert set(refused) <= {"closed_period"}
    closed = Period.objects.get(month=last_month.date().replace(day=1)).closed_at
    assert all(operation.recorded_at < closed for operation in Operation.objects.all())


def charging(lot, at, vessel="VESSEL-1"):
    return posting(
        kind="charge", at=at, by=people.otto_operator().pk, inputs=[{"lot": lot.number}],
        additions=[{"what": "acid", "gross_mg": 5000}],
        outputs=[
            {"form": "in process", "vessel": vessel, "gross_mg": lot.gross_mg + 5000, "fine_mg": {"Au": lot.au_mg}}
        ],
    )  # fmt: skip


def test_two_charges_into_one_vessel(committed_db, writers, sound):
    builders.places()
    lots = builders.ready(10, 11, 12, 13, Au=900_000)
    at = timezone.now()
    results = writers([charging(lot, at) for lot in lots])
    assert len(recorded(results)) == 1
    assert set(refusals(results)) <= {"vessel_holds_content", "one_content_per_vessel"}
    assert Lot.objects.filter(form="in process", gross_mg__gt=0).count() == 1


def test_control_without_the_index_a_vessel_holds_two(committed_db, connect_as, owner_connection):
    """The poster looks before it charges; whoever charges at the same moment is stopped by the index alone."""
    builders.places()
    one, two = builders.ready(10, 11, Au=900_000)
    owner_connection().execute("DROP INDEX one_content_per_vessel")
    at = timezone.now()
    first, other = connect_as(roles.APP), connect_as(roles.APP)
    first.autocommit = False
    assert outcome(first, *charging(one, at))["number"]
    assert outcome(other, *charging(two, at))["number"]
    first.commit()
    assert Lot.objects.filter(form="in process", gross_mg__gt=0).count() == 2
