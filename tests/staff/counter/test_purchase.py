"""Buying at the counter: reckoned first, paid and recorded once; what is indicated never becomes metal in the book."""

from decimal import Decimal

import pytest
from django.utils import timezone

from custody.actions.work import reverse
from custody.models import Document, Operation, Purchase
from custody.terms import DocumentKind
from tests import builders, people, settling
from tests.documents import reading
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db

PARCEL = {
    "form": "jewellery",
    "gross": "14.840",
    "tare": "2.500",
    "scale": "BENCH-2",
    "category": "recycled",
    "country": "CA",
    "custody_model": "mass balance",
    "metal": "Au",
    "indicated": "585",
    "method": "XRF indication",
    "price": "52.10",
    "payable": "92",
}


@pytest.fixture(autouse=True)
def house():
    builders.places()
    people.party("P-01")
    builders.scale("BENCH-2")


def entry(*parcels, key=None, **fields):
    told = {
        "party": "P-01",
        "delivered_by": "Mara Quill",
        "identity_kind": "passport",
        "identity_number": "X1234567",
        "place": str(builders.place("COUNTER").pk),
        "currency": "EUR",
        "price_source": "House list of this morning",
        "payment": "bank transfer",
        "reference": "T-991",
    }
    rows = [PARCEL | parcel for parcel in parcels or ({},)]
    return body(key=key, rows={"parcel": rows}, **told | fields)


def looked(client, *parcels, **fields):
    """The form as it stands after it was reckoned."""
    sent = entry(*parcels, **fields)
    page = client.post("/counter/buy/", sent | {"look": "1"})
    return sent | {"seen": page.context["shown"]}, page


def bought(*parcels, who=people.fiona_frontdesk, **fields):
    client = people.signed_in(who())
    sent, _ = looked(client, *parcels, **fields)
    answer = client.post("/counter/buy/", sent)
    assert answer.status_code == 302, faults(answer)
    return Operation.objects.get(kind="receive")


def test_reckoned_first_line_by_line_and_nothing_recorded():
    client = people.signed_in(people.fiona_frontdesk())
    silver = {"metal": "Ag", "indicated": "925", "method": "as declared", "price": "0.7135", "gross": "100", "tare": ""}
    _, page = looked(client, {}, silver)
    text = " ".join(page.content.decode().split())
    assert "12.340 g × 0.585 × 52.10 EUR/g × 0.92 = 346.02 EUR" in text
    assert "100.000 g × 0.925 × 0.7135 EUR/g × 0.92 = 60.72 EUR" in text  # 60.71885
    assert "Pay 406.74 EUR and record it" in text
    assert not Operation.objects.exists()


def test_recorded_as_it_was_shown_with_its_note_and_labels():
    receipt = bought({})
    purchase = Purchase.objects.get(receipt=receipt)
    (line,) = purchase.lines.all()
    assert (receipt.basis, purchase.total, purchase.currency, purchase.payment, purchase.reference) == (
        "purchase",
        Decimal("346.02"),
        "EUR",
        "bank transfer",
        "T-991",
    )
    assert (line.net_mg, line.indicated_ppm, line.method, line.amount) == (
        12_340,
        585_000,
        "XRF indication",
        Decimal("346.02"),
    )
    assert (line.lot.valued, line.lot.au_mg, line.lot.owner) == (False, 0, None)
    assert set(Document.objects.values_list("kind", flat=True)) == {DocumentKind.PURCHASE, DocumentKind.LABELS}


def test_the_note_says_what_was_weighed_indicated_and_paid():
    receipt = bought({"seal": "S-1"})
    client = people.signed_in(people.fiona_frontdesk())
    paper = Document.objects.get(kind=DocumentKind.PURCHASE)
    content = b"".join(client.get(f"/papers/{paper.pk}/"))
    text = reading.text(content)
    for wanted in (
        "346.02",
        "12.340",
        "585.0",
        "XRF indication",
        "no assay",
        "T-991",
        "passport",
        "seal S-1",
        "may sell it",
    ):
        assert wanted in text
    assert "X1234567" not in text
    assert reading.page_count(content) == 2
    assert reading.codes(content) == [receipt.number]
    client.post(f"/counter/purchase-note/{receipt.number}/")
    assert Document.objects.filter(kind=DocumentKind.PURCHASE, copy_no=2).exists()


def test_sent_without_a_look_or_with_other_figures_it_is_shown_first():
    client = people.signed_in(people.fiona_frontdesk())
    assert "Look at what it comes to below" in faults(client.post("/counter/buy/", entry({})))
    sent, _ = looked(client, {})
    answer = client.post("/counter/buy/", sent | {"parcel-0-price": "62.10"})
    assert "Look at what it comes to below" in faults(answer)
    assert not Operation.objects.exists()


def test_a_form_sent_twice_is_paid_once():
    client = people.signed_in(people.fiona_frontdesk())
    sent, _ = looked(client, {})
    first, second = (client.post("/counter/buy/", sent) for _ in range(2))
    assert first.url == second.url
    assert Purchase.objects.count() == 1
    assert Document.objects.filter(kind=DocumentKind.PURCHASE).count() == 1


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"identity_kind": ""}, "Identity seen is missing."),
        ({"identity_number": ""}, "The number of the passport is missing."),
        ({"price_source": " "}, "Price from is missing."),
        ({"payment": ""}, "Paid by is missing."),
        ({"parcel-0-price": "52,10"}, "price per gram of fine metal"),
        ({"parcel-0-price": "0"}, "zero"),
        ({"parcel-0-indicated": ""}, "Fineness is missing."),
        ({"parcel-0-indicated": "1001"}, "indicated fineness"),
        ({"parcel-0-indicated": "18"}, "may be karat or per mille"),
        ({"parcel-0-payable": "101"}, "share paid"),
        ({"parcel-0-gross": ""}, "Gross, g is missing."),
        ({"parcel-0-method": "fire assay by cupellation"}, "Select a valid choice."),
        ({"party": "Nobody"}, "There is no one party"),
    ],
)
def test_what_cannot_be_read_is_said_and_kept(changes, sentence):
    client = people.signed_in(people.fiona_frontdesk())
    answer = client.post("/counter/buy/", entry({}) | changes | {"look": "1"})
    assert sentence in faults(answer)
    assert 'value="T-991"' in answer.content.decode()
    assert not Operation.objects.exists()


def test_it_is_not_settled_and_both_desks_say_why():
    receipt = bought({})
    lot = builders.valued(receipt.receipt_lots.get(), Au=580_000)
    settling.terms()
    with pytest.raises(Exception, match="bought and paid at the counter"):
        settling.settled(lot)
    page = people.signed_in(people.matt_accountant()).get(f"/receipt/{receipt.number}/").content.decode()
    assert "bought and paid at the counter by Fiona Marl" in page
    assert "/settlement/settle/" not in page
    listed = people.signed_in(people.matt_accountant()).get("/settlement/").content.decode()
    assert receipt.number not in listed
    assert "bought" in people.signed_in(people.matt_accountant()).get("/party/P-01/").content.decode()


def test_the_page_says_what_the_assay_found_beside_what_was_paid_for():
    receipt = bought({})
    builders.valued(receipt.receipt_lots.get(), Au=580_000)
    page = " ".join(people.signed_in(people.adam_auditor()).get(f"/receipt/{receipt.number}/").content.decode().split())
    assert "12.340 g × 0.585 × 52.10 EUR/g × 0.92 = 346.02 EUR" in page
    assert "assay 580.0 ‰" in page


def test_a_reversed_purchase_has_no_note():
    receipt = bought({})
    client = people.signed_in(people.fiona_frontdesk())
    manager = people.signed_in(people.mona_manager())
    assert "346.02 EUR" in manager.get(f"/reverse/{receipt.number}/").content.decode()
    reverse(operation=receipt, reason="Money came back", at=timezone.now(), by=people.mona_manager())
    answer = client.post(f"/counter/purchase-note/{receipt.number}/", follow=True).content.decode()
    assert "its purchase note is void" in answer
    assert "void" in client.get(f"/receipt/{receipt.number}/").content.decode()


@pytest.mark.parametrize(
    "who", [people.otto_operator, people.matt_accountant, people.adam_auditor, people.mona_manager]
)
def test_only_the_front_desk_buys(who):
    assert people.signed_in(who()).get("/counter/buy/").status_code == 403


def test_customers_do_not_reach_the_counter():
    for who in people.CUSTOMERS:
        assert people.signed_in(who()).get("/counter/buy/").status_code == 403
