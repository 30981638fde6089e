"""I2 under concurrent writers: sixteen people each take 60 g of a lot of 100 g; one of them gets it."""

import threading

import psycopg
import pytest
from psycopg.types.json import Jsonb

from custody.actions.history import import_history
from custody.models import Lot, User

WRITERS = 16
HEADER = '{"record":"header","format":"custody-history","version":1}'
PARTY = '{"record":"party","code":"P-01","name":"Invented Party","country":"NO"}'
RECEIPT = (
    '{"record":"operation","number":"OP-1","kind":"receive","at":"2024-01-02T09:00:00+00:00","party":"P-01",'
    '"outputs":[{"lot":"L-1","form":"dore","gross_g":"100.000","fine_g":{"Au":"80.000","Ag":"15.000"}}]}'
)


@pytest.fixture
def lot(committed_db):
    import_history(lines=[HEADER, PARTY, RECEIPT])
    return Lot.objects.get(number="L-1")


def all_at_once(connections, work) -> list[str]:
    """Runs ``work(connection, number)`` on all at the same moment; gives each one's refusal, or nothing."""
    gate = threading.Barrier(len(connections))
    outcome = [""] * len(connections)

    def one(number: int) -> None:
        gate.wait()
        try:
            work(connections[number], number)
        except psycopg.Error as error:
            outcome[number] = error.diag.constraint_name or str(error)

    threads = [threading.Thread(target=one, args=(number,)) for number in range(len(connections))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return outcome


def take_sixty(by: int, key: str = ""):
    def work(connection, number: int) -> None:
        request = {
            "kind": "divide",
            "number": f"OP-take-{number}" if not key else "OP-take",
            "at": "2024-01-02T10:00:00+00:00",
            "by": by,
            "source": "history",
            "inputs": [{"lot": "L-1", "gross_mg": 60_000}],
            "outputs": [{"form": "granules", "gross_mg": 60_000, "fine_mg": {"Au": 48_000, "Ag": 9_000}}],
        }
        if key:
            request |= {"request_key": key, "request_sha256": "00" * 32}
        connection.execute("SELECT custody_post(%s)", [Jsonb(request)])

    return work


def test_one_of_sixteen_gets_it(lot, app_connection):
    keeper = User.objects.get(username="imported-history").pk
    outcome = all_at_once([app_connection() for _ in range(WRITERS)], take_sixty(keeper))
    assert sorted(outcome) == [""] + ["overdraw"] * (WRITERS - 1)
    lot.refresh_from_db()
    assert lot.columns_mg == (40_000, 32_000, 6_000, 0, 0, 0)


def test_the_control_overdraws_without_the_lock(lot, owner_connection):
    """The same race on a scratch copy of the lot, read first and written after, with no lock between."""
    owner = owner_connection()
    owner.execute("CREATE TABLE scratch AS SELECT id, gross_mg FROM custody_lot")

    def naive(connection, number: int) -> None:
        with connection.transaction():
            (held,) = connection.execute("SELECT gross_mg FROM scratch").fetchone()
            if held >= 60_000:
                connection.execute("SELECT pg_sleep(0.05)")
                connection.execute("UPDATE scratch SET gross_mg = gross_mg - 60000")

    all_at_once([owner_connection() for _ in range(WRITERS)], naive)
    (left,) = owner.execute("SELECT gross_mg FROM scratch").fetchone()
    assert left < 0, "without the lock the race must show, or the test above proves nothing"


def test_a_form_sent_by_eight_at_once_is_recorded_once(lot, app_connection):
    keeper = User.objects.get(username="imported-history").pk
    key = "0b7a9f6e-3f0e-4c39-9f5e-5a1f6c1d2e3f"
    outcome = all_at_once([app_connection() for _ in range(8)], take_sixty(keeper, key))
    assert outcome == [""] * 8
    lot.refresh_from_db()
    assert lot.gross_mg == 40_000


def test_lots_named_in_opposite_order_do_not_deadlock(committed_db, app_connection):
    second = RECEIPT.replace("OP-1", "OP-2").replace("L-1", "L-2")
    import_history(lines=[HEADER, PARTY, RECEIPT, second])
    keeper = User.objects.get(username="imported-history").pk

    def melt(connection, number: int) -> None:
        names = ["L-1", "L-2"] if number % 2 else ["L-2", "L-1"]
        for turn in range(4):
            connection.execute(
                "SELECT custody_post(%s)",
                [
                    Jsonb(
                        {
                            "kind": "melt",
                            "number": f"OP-{number}-{turn}",
                            "at": "2024-01-02T10:00:00+00:00",
                            "by": keeper,
                            "source": "history",
                            "inputs": [{"lot": name, "gross_mg": 1_000} for name in names],
                            "outputs": [{"form": "melt", "gross_mg": 2_000, "fine_mg": {"Au": 1_600, "Ag": 300}}],
                        }
                    )
                ],
            )

    assert all_at_once([app_connection() for _ in range(8)], melt) == [""] * 8
    assert set(Lot.objects.filter(number__in=("L-1", "L-2")).values_list("gross_mg", flat=True)) == {68_000}


def test_a_close_waits_for_an_operation_under_way(lot, app_connection):
    """The month is locked shared by the operation; the close comes after it, or the operation is refused."""
    keeper = User.objects.get(username="imported-history").pk
    taker, closer = app_connection(), app_connection()

    def work(connection, number: int) -> None:
        if connection is taker:
            take_sixty(keeper)(connection, number)
        else:
            connection.execute("SELECT custody_close_period('2024-01-01', %s)", [keeper])

    outcome = all_at_once([taker, closer], work)
    assert outcome[1] == ""
    assert outcome[0] in ("", "closed_period")
    lot.refresh_from_db()
    assert lot.gross_mg == (40_000 if outcome[0] == "" else 100_000)
