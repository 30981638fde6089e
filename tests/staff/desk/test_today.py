"""The first page says what waits for whom, and costs the same however much waits."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.assay import determine
from custody.actions.work import Make, Take, record_step
from custody.queries import today
from custody.terms import Form, Kind
from tests import builders, people

pytestmark = pytest.mark.django_db


def page(who) -> str:
    return people.signed_in(who()).get("/").content.decode()


def test_each_role_is_told_what_waits_for_it():
    builders.places()
    _, held, asked = builders.received(1_000, 2_000, 3_000)
    builders.held(held)
    determine(lot=asked, ppm={"Au": 1}, method="fire assay", at=timezone.now(), by=people.anna_assayer())
    assert '<a class="link" href="/vault/">3 lots</a>' in page(people.fiona_frontdesk)
    assert '<a class="link" href="/clearance/">2 lots</a>' in page(people.clara_compliance)
    assert "Awaiting an assay" in page(people.anna_assayer)
    assert "1 determination" not in page(people.anna_assayer)  # nobody accepts their own
    assert "1 determination" in page(people.mona_manager)
    assert "Nothing waits for you." in page(people.adam_auditor)


def test_a_lot_is_in_the_list_of_who_holds_it_and_of_nobody_else():
    builders.places()
    lot = builders.received()[0]
    assert lot.number in page(people.fiona_frontdesk)
    builders.handed_over(lot, people.sam_sampler())
    assert lot.number not in page(people.fiona_frontdesk)
    assert lot.number in page(people.sam_sampler)


def charge(hours_ago: int):
    at = timezone.now() - timedelta(hours=hours_ago)
    (lot,) = builders.ready(at=at)
    vessel = builders.place(f"VESSEL-{1 if hours_ago > 24 else 2}")
    record_step(
        kind=Kind.CHARGE,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.IN_PROCESS, lot.gross_mg, {"Au": lot.au_mg, "Ag": lot.ag_mg}, vessel=vessel.code)],
        at=at,
        by=people.otto_operator(),
        step=Kind.DISSOLVE,
    )


def test_a_run_open_longer_than_its_step_allows_is_overdue():
    builders.refinery()
    charge(25)
    charge(2)
    late, fresh = today.open_runs(people.otto_operator())
    assert (late.overdue(timezone.now()), fresh.overdue(timezone.now())) == (True, False)
    said = page(people.otto_operator)
    assert "2 runs" in said
    assert "1 run<" in said


def test_a_valued_receipt_waits_for_its_settlement():
    lot, other = builders.received(1_000, 2_000)
    builders.valued(lot)
    assert not today.receipts_to_settle(people.matt_accountant()).exists()
    builders.valued(other)
    assert today.receipts_to_settle(people.matt_accountant()).get() == builders.receipt_of(lot)


def test_the_page_costs_the_same_for_three_lots_as_for_one():
    client = people.signed_in(people.fiona_frontdesk())
    builders.received()
    with CaptureQueriesContext(connection) as one:
        client.get("/")
    builders.received(1_000, 2_000)
    with CaptureQueriesContext(connection) as three:
        client.get("/")
    assert len(three) == len(one)
