"""Settling a receipt on screen: shown line by line, approved by a second person, issued once."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.people import set_roles
from custody.models import MetalAccount, Settlement
from custody.terms import Form, Outturn, Role
from tests import builders, people, settling

pytestmark = pytest.mark.django_db
APPROVAL = {
    "approver": "mona",
    "approver_password": people.PASSWORD,
    "approval_meaning": "Checked against assays and terms",
}


@pytest.fixture
def lot():
    """1 kg of 800 ‰ gold and 150 ‰ silver, valued, with terms: 99 % and 95 %."""
    settling.terms()
    return builders.valued(builders.received()[0])


@pytest.fixture
def client():
    return people.signed_in(people.matt_accountant())


def address(lot):
    return f"/settlement/receipt/{builders.receipt_of(lot).number}/"


def entry(**changes):
    return {
        "request_key": str(uuid4()),
        "outturn": "money",
        "day": timezone.localdate().isoformat(),
        "price_Au": "70.1234",
        "unit_Au": "g",
        "source_Au": "invented fixing",
        "price_Ag": "28.315",
        "unit_Ag": "ozt",
        "source_Ag": "invented fixing",
        "seen": "",
        "approver": "",
        "approver_password": "",
        "approval_meaning": "",
    } | changes


def looked(client, where, **changes):
    sent = entry(**changes)
    page = client.post(where, sent | {"look": "1"})
    return sent | {"seen": page.context["shown"]}, " ".join(page.content.decode().split())


def test_the_reckoning_is_shown_line_by_line_and_nothing_recorded(client, lot):
    sent, text = looked(client, address(lot))
    assert sent["seen"]
    for wanted in (
        # 1000 g × 800 ‰ = 800 g; 99 % of it 792 g, at 70.1234 EUR/g = 55 537.7328 → 55 537.73
        "800.000 g × 99.00 % = 792.000 g payable, rounded down to 0.001 g",
        "792.000 g × 70.1234 EUR/g = 55 537.73 EUR, rounded half to even to 0.01",
        # 150 g × 95 % = 142.5 g ÷ 31.1034768 × 28.315 = 129.7245… → 129.72
        "142.500 g ÷ 31.1034768 g/ozt × 28.315 EUR/ozt = 129.72 EUR",
        "800.000 g × 0.0900 EUR/g = 72.00 EUR",
        "lump sum 75.00 EUR",
        "55 520.45",  # 55 537.73 + 129.72 − 72.00 − 75.00
        "Approver&#x27;s login",
    ):
        assert wanted in text
    assert not Settlement.objects.exists()


def test_issued_with_a_second_persons_approval(client, lot):
    sent, _ = looked(client, address(lot))
    answer = client.post(address(lot), sent | APPROVAL, follow=True)
    one = Settlement.objects.get()
    assert answer.redirect_chain[-1][0] == f"/settlement/statement/{one.number}/"
    assert one.total == Decimal("55520.45")
    assert (one.prepared_by, one.approved_by) == (people.matt_accountant(), people.mona_manager())
    assert one.approval_meaning == "Checked against assays and terms"
    assert [(line.what, line.amount) for line in one.charge_lines.all()] == [
        ("Au refining, on settled content", Decimal("-72.00")),
        ("Treatment", Decimal("-75.00")),
    ]
    assert builders.fresh(lot.number).owner is None
    paper = one.documents.get()
    assert paper.party == one.party
    assert f"/papers/{paper.pk}/" in answer.content.decode()


def test_a_form_sent_twice_settles_once(client, lot):
    sent, _ = looked(client, address(lot))
    for _ in range(2):
        answer = client.post(address(lot), sent | APPROVAL, follow=True)
    assert "Nothing was recorded twice." in answer.content.decode()
    assert Settlement.objects.get().documents.count() == 1


def test_what_was_not_shown_is_not_issued(client, lot):
    sent, _ = looked(client, address(lot))
    answer = client.post(address(lot), sent | APPROVAL | {"price_Au": "71"})
    assert "The figures are not those that were shown." in answer.content.decode()
    assert not Settlement.objects.exists()


def test_a_revaluation_since_the_look_is_shown_first(client, lot):
    sent, _ = looked(client, address(lot))
    builders.valued(builders.fresh(lot.number), Au=810_000, Ag=150_000)
    answer = client.post(address(lot), sent | APPROVAL)
    assert "The figures are not those that were shown." in answer.content.decode()
    assert "810.000" in answer.content.decode()
    assert not Settlement.objects.exists()


@pytest.mark.parametrize(
    ("approval", "sentence"),
    [
        ({"approver_password": "wrong"}, "name or password is not right"),
        ({"approver": "adam"}, "Adam Quern may not approve a settlement"),
        ({"approver": "matt"}, "Matt Tally may not approve a settlement"),
        ({"approver_password": ""}, "password is missing"),
        ({"approval_meaning": ""}, "What the approval means is missing"),
    ],
)
def test_without_a_managers_signature_nothing_is_issued(client, lot, approval, sentence):
    people.adam_auditor()
    sent, _ = looked(client, address(lot))
    answer = client.post(address(lot), sent | APPROVAL | approval)
    text = answer.content.decode()
    assert sentence in text
    assert "55\u202f520.45" in text  # what was shown stays shown
    assert people.PASSWORD not in text
    assert not Settlement.objects.exists()


def test_who_prepares_does_not_approve_whatever_the_roles(client, lot):
    matt = people.matt_accountant()
    set_roles(user=matt, roles=[Role.ACCOUNTANT, Role.MANAGER], active=True, by=people.max_manager())
    both = people.signed_in(type(matt).objects.get(pk=matt.pk))
    sent, _ = looked(both, address(lot))
    answer = both.post(address(lot), sent | APPROVAL | {"approver": "matt"})
    assert "Who prepares a settlement does not approve it" in answer.content.decode()
    assert not Settlement.objects.exists()


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"price_Au": "2,412.50"}, "The price of Au “2,412.50” has a comma"),
        ({"price_Au": "-70"}, "is negative"),
        ({"price_Au": "0"}, "is zero"),
        ({"price_Au": "1e400"}, "exponent"),
        ({"price_Au": "70.12345"}, "more than 4 decimals"),
        ({"price_Au": "9" * 1_000}, "characters long"),
        ({"price_Au": ""}, "Au is settled in money and needs a price."),
        ({"source_Au": ""}, "Say where the price of Au is from"),
        ({"outturn": ""}, "Settled in is missing."),
        ({"day": "soon"}, "Give a day, like 2024-01-31."),
        ({"day": "2999-01-01"}, "This day is in the future."),
        ({"day": "1999-01-01"}, "No terms are agreed with Tern Valley Placer Cooperative for 1999-01-01."),
    ],
)
def test_what_cannot_be_read_is_said_and_kept(client, lot, changes, sentence):
    sent, text = looked(client, address(lot), **{"source_Ag": "noon fixing", **changes})
    assert sentence in text
    assert 'value="noon fixing"' in text
    assert not sent["seen"]
    assert not Settlement.objects.exists()


def test_in_metal_the_account_holds_what_is_returned(client, lot):
    sent, text = looked(client, address(lot), outturn="metal", price_Au="", source_Au="", price_Ag="", source_Ag="")
    assert "800.000 g × 99.00 % = 792.000 g returned" in text
    client.post(address(lot), sent | APPROVAL)
    assert dict(MetalAccount.objects.values_list("metal", "balance_mg")) == {"Au": 792_000, "Ag": 142_500}


def test_a_lot_that_waits_for_its_assay_is_named_instead_of_the_form(client):
    settling.terms()
    (lot,) = builders.received()
    text = client.get(address(lot)).content.decode()
    assert "Still missing" in text
    assert lot.number in text
    assert "Approver" not in text


def test_what_holds_no_metal_is_not_settled(client):
    settling.terms()
    (slag,) = builders.received(builders.parcel(5_000, form=Form.SLAG))  # an unvalued slag does not hold it up
    _, text = looked(client, address(slag))
    assert "has no metal in the book to settle" in text


def test_a_correction_names_what_it_replaces_and_why(client, lot):
    first = settling.settled(lot)
    where = f"/settlement/correct/{first.number}/"
    _, text = looked(client, where, reason="")
    assert "Reason for the correction is missing." in text
    sent, _ = looked(client, where, reason="Silver price of the wrong day", price_Ag="29")
    client.post(where, sent | APPROVAL)
    second = Settlement.objects.get(corrects=first)
    assert second.reason == "Silver price of the wrong day"
    again = client.post(where, sent | APPROVAL, follow=True)
    assert f"is corrected by {second.number} already" in again.content.decode()
    assert Settlement.objects.count() == 2
    page = client.get(f"/settlement/statement/{first.number}/").content.decode()
    assert second.number in page
    assert f"/settlement/correct/{first.number}/" not in page


def test_the_list_says_what_each_receipt_still_lacks(client):
    without_terms = builders.valued(builders.received(of=people.party("P-02"))[0])
    settling.terms()
    waiting, other = builders.received(1_000_000, 2_000_000)
    ready = builders.valued(builders.received()[0])
    done = builders.valued(builders.received()[0])
    settling.settled(done)
    page = client.get("/settlement/")
    rows = {row.record.receipt.number: row.record for row in page.context["waiting"].rows}
    assert rows[builders.receipt_of(ready).number].missing == ""
    assert rows[builders.receipt_of(waiting).number].missing == f"the accepted assay of {waiting}, {other}"
    assert rows[builders.receipt_of(waiting).number].au_mg is None
    assert "terms with P-02" in rows[builders.receipt_of(without_terms).number].missing
    assert builders.receipt_of(done).number not in rows
    assert "S" in page.context["done"].rows[0].record.number


def test_three_receipts_cost_as_many_queries_as_one(client):
    def cost():
        with CaptureQueriesContext(connection) as caught:
            client.get("/settlement/")
        return len(caught)

    settling.settled(builders.valued(builders.received()[0]))
    builders.received()
    client.get("/settlement/")
    one = cost()
    for _ in range(2):
        settling.settled(builders.valued(builders.received()[0]))
        builders.received(1_000_000, 500_000)
    assert cost() == one


@pytest.mark.parametrize("who", [people.vera_vault, people.mona_manager, people.adam_auditor])
def test_only_the_accountant_settles(who, lot):
    one = settling.settled(builders.valued(builders.received()[0]), Outturn.METAL)
    other = people.signed_in(who())
    for where in (address(lot), f"/settlement/correct/{one.number}/"):
        assert other.get(where).status_code == 403
    assert other.post(f"/settlement/paper/{one.number}/").status_code == 403
    assert other.get("/settlement/").status_code == 200
    assert other.get(f"/settlement/statement/{one.number}/").status_code == 200
