"""The customer's door: own deliveries, stages, papers and bars; nothing of anybody else's."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.issue_certificate import issue_certificate, issue_certificates
from custody.actions.issue_receipt import issue_labels, issue_receipt
from custody.actions.issue_settlement import issue_settlement
from custody.actions.issue_trace import issue_trace
from custody.actions.people import set_roles
from custody.actions.work import Lose, Make, Take, record_step, reverse
from custody.models import Document, Operation
from custody.queries.parcel_stages import progress
from custody.terms import Cause, DocumentKind, Form, Kind, Outturn, Role
from tests import builders, people, settling

pytestmark = pytest.mark.django_db


def page(person, address):
    answer = people.signed_in(person).get(address)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def every_paper():
    """P-01's bar with every paper that the house issues about it, and what they are about."""
    lot = settling.bar_in_vault()
    receipt = builders.receipt_of(lot)
    now = timezone.now()
    issue_receipt(receipt=receipt, at=now, by=people.fiona_frontdesk())
    issue_labels(receipt=receipt, at=now, by=people.fiona_frontdesk())
    issue_trace(lot=lot, at=now, by=people.clara_compliance())
    settlement = settling.settled(builders.valued(builders.received()[0]))
    issue_settlement(settlement=settlement, at=now, by=people.matt_accountant())
    one = settling.dispatched(lot)
    issue_certificates(dispatch=one, at=now, by=people.vera_vault())
    return receipt, settlement


def test_a_customer_downloads_its_own_papers_and_no_others():
    receipt, settlement = every_paper()
    client = people.signed_in(people.cora_customer())
    seen = {paper.kind: client.get(f"/papers/{paper.pk}/").status_code for paper in Document.objects.all()}
    assert seen == {
        DocumentKind.RECEIPT: 200,
        DocumentKind.SETTLEMENT: 200,
        DocumentKind.CERTIFICATE: 200,
        DocumentKind.LABELS: 404,
        DocumentKind.TRACE: 404,
    }
    text = page(people.cora_customer(), f"/my/receipt/{receipt.number}/")
    assert "Delivery receipt" in text
    assert "Lot labels" not in text
    other = page(people.cora_customer(), f"/my/receipt/{settlement.receipt.number}/")
    assert f"Settlement statement {settlement.number}" in other
    certificate = Document.objects.get(kind=DocumentKind.CERTIFICATE)
    assert f"/papers/{certificate.pk}/" in page(people.cora_customer(), "/my/")


def test_a_stranger_finds_nothing_of_it():
    receipt, settlement = every_paper()
    client = people.signed_in(people.stranger())
    for paper in Document.objects.all():
        assert client.get(f"/papers/{paper.pk}/").status_code == 404
    for number in (receipt.number, settlement.receipt.number, "R99-00001"):
        assert client.get(f"/my/receipt/{number}/").status_code == 404
    text = page(people.stranger(), "/my/")
    assert "Old Mill Jewellers" in text
    assert "Nothing was delivered yet." in text
    assert "No bar was delivered to you yet." in text
    assert receipt.number not in text


def test_a_certificate_issued_for_the_house_alone_is_not_the_customers():
    lot = settling.bar_in_vault()
    paper = issue_certificate(lot=lot, at=timezone.now(), by=people.vera_vault())
    assert people.signed_in(people.cora_customer()).get(f"/papers/{paper.pk}/").status_code == 404
    assert "No bar was delivered to you yet." in page(people.cora_customer(), "/my/")


def test_staff_have_no_deliveries():
    for person in people.STAFF:
        assert people.signed_in(person()).get("/my/").status_code == 403


def test_a_login_that_was_closed_sees_nothing():
    every_paper()
    cora = people.cora_customer()
    client = people.signed_in(cora)
    set_roles(user=cora, roles=[Role.CUSTOMER], active=False, by=people.mona_manager())
    assert client.get("/my/").status_code == 302
    assert client.get(f"/papers/{Document.objects.first().pk}/").status_code == 302


def stages(lot):
    (line,) = [line for line in progress([builders.receipt_of(lot)])[lot.receipt_id] if line.lot.pk == lot.pk]
    return list(line.reached)


def test_the_stages_of_a_parcel_follow_the_book():
    first, second = builders.received(*(builders.parcel(mg, mine="One claim") for mg in (1_000_000, 500_000)))
    assert stages(first) == ["received"]
    for lot in (first, second):
        builders.handed_over(lot, people.sam_sampler())
    posted = record_step(
        kind=Kind.MELT,
        inputs=[Take(first.number), Take(second.number)],
        outputs=[Make(Form.MELT, 1_499_000)],
        losses=(Lose(Cause.SLAG, 1_000),),
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    assert stages(first) == ["received", "melted"]
    melt = builders.released(builders.valued(builders.fresh(posted.lots[0])))
    assert set(stages(second)) == {"received", "melted", "assayed"}
    melt = builders.handed_over(melt, people.otto_operator(), "VESSEL-1")
    dissolved = record_step(
        kind=Kind.DISSOLVE,
        inputs=[Take(melt.number)],
        outputs=[Make(Form.GOLD_SAND, 1_499_000, {"Au": melt.au_mg, "Ag": melt.ag_mg})],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    assert set(stages(first)) == {"received", "melted", "assayed", "refined"}
    text = page(people.cora_customer(), f"/my/receipt/{builders.receipt_of(first).number}/")
    assert text.count("Refined") == 2
    reverse(
        operation=Operation.objects.get(number=dissolved.number),
        reason="The wrong vessel",
        at=timezone.now(),
        by=people.otto_operator(),
    )
    assert "refined" not in stages(first)
    settling.settled(first)
    assert "settled" in stages(first)
    assert "settled</span>" in page(people.cora_customer(), "/my/")


def test_a_parcel_that_went_back_is_returned():
    lot = builders.handed_over(builders.released(builders.received()[0]), people.vera_vault(), "VAULT")
    settling.dispatched(lot)
    assert stages(lot) == ["received", "returned"]


def test_the_list_tells_the_parcel_furthest_behind():
    first, _second = builders.received(1_000_000, 500_000)
    builders.valued(first)
    table = people.signed_in(people.cora_customer()).get("/my/").context["receipts"]
    assert "received" in table.rows[0].get_cell("stage")


def test_a_hold_is_not_told_to_the_customer():
    lot = builders.held(builders.received()[0])
    for address in ("/my/", f"/my/receipt/{builders.receipt_of(lot).number}/"):
        assert "held" not in page(people.cora_customer(), address)


def test_a_reversed_receipt_is_gone():
    (lot,) = builders.received()
    receipt = builders.receipt_of(lot)
    reverse(operation=receipt, reason="Entered twice", at=timezone.now(), by=people.mona_manager())
    assert people.signed_in(people.cora_customer()).get(f"/my/receipt/{receipt.number}/").status_code == 404
    assert receipt.number not in page(people.cora_customer(), "/my/")


def test_three_deliveries_cost_as_many_queries_as_one():
    client = people.signed_in(people.cora_customer())

    def cost():
        with CaptureQueriesContext(connection) as caught:
            client.get("/my/")
        return len(caught)

    def delivery(serial):
        settling.settled(builders.valued(builders.received()[0]), Outturn.METAL)
        settling.dispatched(settling.bar_in_vault(serial))

    delivery("A000001")
    client.get("/my/")
    one = cost()
    delivery("A000002")
    delivery("A000003")
    assert cost() == one
