"""At a place of two people at the same moment: opened once, never closed over a dispatch, counted whole."""

import json
from datetime import timedelta

import pytest
from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.vault import open_vault
from custody.models import Handover, Operation, StockCount, StockCountLine, VaultAccess, VaultClosing
from tests import builders, people
from tests.concurrency.conftest import posting

LOCK = "custody_lock_place(bigint,boolean)"
#: Shared or alone, nobody waits.
OFF = ("PERFORM pg_advisory_xact_lock(1056, at_place::int)", "NULL",
       "PERFORM pg_advisory_xact_lock_shared(1056, at_place::int)", "NULL")  # fmt: skip


def calling(function, **said):
    return f"SELECT {function}(%s)", (json.dumps({"at": timezone.now().isoformat()} | said, default=str),)


@pytest.fixture
def cage(committed_db):
    """The cage, open by Vera and Max for a while, with a bar of Vera's in it."""
    builders.places()
    vera, max_ = people.vera_vault(), people.max_manager()
    bar = builders.bar("HF-1", grams=100)
    access = open_vault(
        place=builders.place("CAGE"), second=Signature(max_, "Opened"), purpose="Stock", at=timezone.now(), by=vera
    )
    return access, builders.handed_over(bar, vera, "CAGE")


def closing(access, **more):
    return calling("custody_close_vault", access=access.number, by=people.vera_vault().pk, **more)


def handing_out(bar, **more):
    return calling(
        "custody_hand_over", lot=bar.number, to_person=people.otto_operator().pk, to_place="SHOP",
        by=people.vera_vault().pk, not_weighed="bar counted by its serial", **more,
    )  # fmt: skip


def counting(bar, **more):
    return calling(
        "custody_count_stock", place="CAGE", by=people.vera_vault().pk, second=people.matt_accountant().pk,
        found={bar.number: ""}, **more,
    )  # fmt: skip


def test_two_openings_at_once_open_it_once(cage, writers, sound):
    access, _ = cage
    assert isinstance(writers([closing(access)])[0], int)
    people.mona_manager()
    openings = [
        calling("custody_open_vault", place="CAGE", by=by.pk, second=people.max_manager().pk, purpose="Bars")
        for by in (people.vera_vault(), people.mona_manager()) * 4
    ]
    results = writers(openings)
    assert [one for one in results if isinstance(one, str)] == ["vault"] * 7
    assert VaultAccess.objects.count() == 2


def test_control_without_the_lock_it_is_open_twice(cage, writers, rewritten):
    access, _ = cage
    writers([closing(access)])
    rewritten(LOCK, *OFF)
    insert = "INSERT INTO custody_vaultaccess"
    rewritten("custody_open_vault(jsonb)", insert, f"PERFORM pg_sleep(2); {insert}")
    opening = calling(
        "custody_open_vault", place="CAGE", by=people.vera_vault().pk, second=people.max_manager().pk, purpose="Bars"
    )
    assert all(isinstance(one, int) for one in writers([opening, opening]))
    assert VaultAccess.objects.count() == 3


def test_it_is_not_closed_over_a_dispatch(cage, writers, sound):
    access, bar = cage
    collection = {"order": "7", "collector": "P", "identity_kind": "passport", "identity_number": "X1"}
    for _ in range(3):
        at = timezone.now()
        sent = posting(
            kind="dispatch", at=at + timedelta(milliseconds=1), by=people.vera_vault().pk, party="P-01", against="own",
            inputs=[{"lot": bar.number}], collection=collection,
        )  # fmt: skip
        closed, left = writers([closing(access, at=at.isoformat()), sent])
        assert {closed if isinstance(closed, str) else "closed", left if isinstance(left, str) else "sent"} in (
            {"closed", "vault_closed"}, {"vault", "sent"}, {"closed", "overdraw"},
        )  # fmt: skip
    assert Operation.objects.filter(kind="dispatch").count() + VaultClosing.objects.count() >= 1


@pytest.mark.parametrize("first", ["the count", "the handover"])
def test_a_count_is_before_a_handover_or_after_it(cage, writers, sound, first):
    _, bar = cage
    at = timezone.now()
    later = {"at": (at + timedelta(milliseconds=1)).isoformat()}
    count, out = (counting(bar, at=at.isoformat()), handing_out(bar, **later))
    if first == "the handover":
        count, out = counting(bar, **later), handing_out(bar, at=at.isoformat())
    writers([count, out])
    lines = StockCountLine.objects.filter(lot=bar)
    if StockCount.objects.exists() and Handover.objects.filter(to_place__code="SHOP", lot=bar).exists():
        assert lines.exists() == (first == "the count")


def test_control_without_the_lock_a_count_misses_what_stood_there(cage, writers, rewritten):
    """The handover is dated before the count and ends after it: the count would have what was gone by its own time."""
    _, bar = cage
    owner = rewritten(LOCK, *OFF)
    owner.execute(
        "CREATE FUNCTION dawdle() RETURNS trigger LANGUAGE plpgsql AS"
        " 'BEGIN IF NEW.id > 0 THEN PERFORM pg_sleep(2); END IF; RETURN NEW; END'"
    )
    owner.execute("GRANT EXECUTE ON FUNCTION dawdle() TO PUBLIC")
    owner.execute("CREATE TRIGGER slowly BEFORE INSERT ON custody_handover FOR EACH ROW EXECUTE FUNCTION dawdle()")
    at = timezone.now()
    results = writers(
        [counting(bar, at=(at + timedelta(milliseconds=1)).isoformat()), handing_out(bar, at=at.isoformat())]
    )
    assert all(isinstance(one, int) for one in results)
    assert StockCountLine.objects.filter(lot=bar).exists()
