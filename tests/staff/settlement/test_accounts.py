"""Metal accounts: balances, entries, and whether the house holds what it owes."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.work import Lose, Make, Take, record_step
from custody.terms import Against, Cause, Form, Kind, Outturn
from tests import builders, people, settling

pytestmark = pytest.mark.django_db


def page(address):
    answer = people.signed_in(people.matt_accountant()).get(address)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_nothing_owed():
    text = page("/settlement/accounts/")
    assert "The house owes nobody any metal." in text


def test_yes_with_what_is_over():
    settling.settled(builders.valued(builders.received()[0]), Outturn.METAL)
    text = page("/settlement/accounts/")
    assert "Yes: metal in the house covers every claim, with 8.000 g Au, 7.500 g Ag over." in text
    assert ">792.000<" in text


def test_no_with_what_is_short():
    (lot,) = builders.ready(1000)
    settling.settled(lot, Outturn.METAL)
    record_step(  # 10 g of the 800 g are spilt: 8 g were over
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, 990_000, {"Au": 790_000, "Ag": 150_000})],
        losses=(Lose(Cause.SPILL, 10_000, {"Au": 10_000}),),
        reason="The crucible broke",
        countersign=Signature(people.mona_manager(), "Seen"),
        at=timezone.now(),
        by=people.otto_operator(),
    )
    text = page("/settlement/accounts/")
    assert "No: the house is short of 2.000 g Au to cover what it owes." in text
    assert ">−2.000<" in text


def test_a_partys_own_metal_covers_nobody():
    settling.settled(builders.valued(builders.received()[0]), Outturn.METAL)
    builders.valued(builders.received(of=people.party("P-02"))[0])
    assert "with 8.000 g Au, 7.500 g Ag over." in page("/settlement/accounts/")


def test_a_partys_entries_run_to_its_balance():
    lot = settling.bar_in_vault("A000001")
    settling.settled(lot, Outturn.METAL)
    settling.settled(settling.bar_in_vault("A000002"), Outturn.METAL)
    one = settling.dispatched(builders.fresh(lot.number), against=Against.CLAIM)
    text = page("/settlement/account/P-01/")
    assert one.number in text
    for figure in ("−999.900", "+989.901", ">979.902<", ">1 979.802<"):
        assert figure in text


def test_a_party_that_is_not_there_is_not_found():
    assert people.signed_in(people.matt_accountant()).get("/settlement/account/P-99/").status_code == 404


def test_three_entries_cost_as_many_queries_as_one():
    client = people.signed_in(people.matt_accountant())

    def cost(address):
        with CaptureQueriesContext(connection) as caught:
            client.get(address)
        return len(caught)

    settling.settled(builders.valued(builders.received()[0]), Outturn.METAL)
    addresses = ("/settlement/accounts/", "/settlement/account/P-01/")
    client.get(addresses[0])
    one = [cost(address) for address in addresses]
    for code in ("P-01", "P-02"):
        settling.settled(builders.valued(builders.received(of=people.party(code))[0]), Outturn.METAL)
    assert [cost(address) for address in addresses] == one
