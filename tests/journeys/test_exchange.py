"""The exchange of assays with an umpire, typed and clicked by everybody who has a part in it."""

import pytest
from django.utils import timezone

from custody.actions.house import add_party
from custody.actions.work import Make, Take, record_step
from custody.models import SampleSeal
from custody.terms import Form, Kind, SamplePurpose
from tests import builders, exchanges, people
from tests.journeys import exchange as steps


@pytest.fixture
def lot(committed_db):
    """A kilogram of P-01's doré in the laboratory, sampled for the umpire; and the umpire, a party."""
    add_party(code="P-09", name="Quern Umpire Laboratory", country="CH", by=people.mona_manager())
    builders.places()
    lot = builders.handed_over(builders.received()[0], people.sam_sampler(), "LAB")
    drawn = record_step(
        kind=Kind.SAMPLE,
        inputs=[Take(lot.number, 5_000)],
        outputs=[Make(Form.SAMPLE, 5_000)],
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    sample = builders.fresh(drawn.lots[0])
    SampleSeal.objects.create(
        lot=sample, seal="HF 0042", purpose=SamplePurpose.UMPIRE, at=timezone.now(), by=people.sam_sampler()
    )
    people.cora_customer()
    return builders.fresh(lot.number)


def test_the_exchange_with_an_umpire(lot, at_work):
    accountant = at_work(people.matt_accountant())
    rule = "nearer party unless umpire between"
    steps.agree(accountant, "P-01", umpire="P-09", rule=rule, Au="0.5", Ag="2.0")

    assayer = at_work(people.anna_assayer())
    found = exchanges.determined(lot)
    number = steps.open_one(assayer, lot.number)
    steps.refinery_in(assayer, number, found.number)

    customer = at_work(people.cora_customer())
    steps.customer_in(customer, number, "Tern Bay Assayers", Au="901.1", Ag="80.5")
    (gold, silver) = customer.table("What the results come to")
    assert (gold["Refinery, ‰"], gold["Customer, ‰"], gold["Apart, ‰"]) == ("900.500", "901.100", "0.600")
    assert (gold["Counts, ‰"], silver["Counts, ‰"]) == ("—", "80.250")

    steps.to_exchanges(accountant)
    assert accountant.table("Exchanges of assays")[0]["Standing"] == "open: to the umpire"
    accountant.follow(number)
    (sample,) = accountant.table("Samples kept for an umpire")
    assert (sample["Seal"], sample["Held by"]) == ("HF 0042", "Sam Tarn")
    steps.umpire_in(accountant, number, "771/26", Au="900.9")
    assert "The refinery was farther from it and pays the umpire’s assay." in accountant.text
    settled = steps.settle(accountant, number)

    manager = at_work(people.mona_manager())
    steps.accept(manager, number, settled)
    lot = builders.fresh(lot.number)
    assert (lot.gross_mg, lot.au_mg, lot.ag_mg) == (
        995_000,
        896_396,
        79_849,
    )  # 995 g at 900.9 and 80.25 ‰, half to even

    auditor = at_work(people.adam_auditor())
    steps.to_exchanges(auditor)
    auditor.follow(number)
    assert [row["Step"] for row in auditor.table("History")] == [
        "Exchange opened",
        "Result of the refinery in",
        "Result of the customer in",
        "Result of the umpire in",
        "Settled assay recorded",
        "Settled assay accepted",
    ]
    customer.desk("My deliveries")
    assert customer.table("Exchange of assays")[0]["Standing"] == "settled"


def test_a_stranger_at_the_customers_door(lot, at_work):
    exchanges.terms()
    exchange = exchanges.both_in(exchanges.opened(lot))
    stranger = at_work(people.stranger())
    assert exchange.number not in stranger.text
    assert stranger.page.request.get(f"/my/exchange/{exchange.number}/").status == 404
    assert stranger.page.request.get(f"/laboratory/exchanges/{exchange.number}/").status == 403
