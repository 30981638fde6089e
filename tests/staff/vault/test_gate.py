"""The gate: what it comes to is shown before it is recorded, refusals are kept, bars leave with their certificates."""

from uuid import uuid4

import pytest
from django.utils import timezone

from custody.actions.work import Make, Take, record_step, reverse
from custody.documents.fill_certificate import certificate_paper
from custody.models import Bar, Document, MetalAccount, Operation
from custody.terms import Against, Basis, DocumentKind, Form, Kind, Outturn
from tests import builders, people, settling
from tests.documents import reading

pytestmark = pytest.mark.django_db


COLLECTED = {
    "order": "Order 12 of the party",
    "collector": "Piet Haul",
    "identity_kind": "passport",
    "identity_number": "X1234567",
}


def entry(client, **changes):
    at = client.get("/vault/gate/").context["form"]["at"].value().strftime("%Y-%m-%dT%H:%M")
    sent = {"request_key": str(uuid4()), "at": at, "initial-at": at, "party": "P-01", "against": "own"}
    return sent | COLLECTED | {"reason": "", "lots": "", "seen": ""} | changes


def looked(client, **changes):
    """The form as it stands after a look at what it comes to."""
    sent = entry(client, **changes)
    page = client.post("/vault/gate/", sent | {"look": "1"})
    return sent | {"seen": page.context["shown"]}, " ".join(page.content.decode().split())


def dispatches():
    return Operation.objects.filter(kind=Kind.DISPATCH)


def house_bar(serial="A000001"):
    """A bar that belongs to the house: its receipt is settled in metal, so that P-01 has a claim instead."""
    lot = settling.bar_in_vault(serial)
    settling.settled(lot, Outturn.METAL)
    return builders.fresh(lot.number)


def test_own_metal_leaves_with_its_certificate_after_a_look():
    lot = settling.bar_in_vault()
    client = people.signed_in(people.vera_vault())
    sent, text = looked(client, lots="A000001", reason="Carrier 7")
    assert "may leave" in text
    assert not dispatches().exists()
    answer = client.post("/vault/gate/", sent, follow=True)
    (one,) = dispatches()
    assert answer.redirect_chain[-1][0] == f"/vault/dispatch/{one.number}/"
    assert "1 bar certificate issued for Tern Valley Placer Cooperative." in answer.content.decode()
    assert (one.party.code, one.reason) == ("P-01", "Carrier 7")
    assert builders.fresh(lot.number).gross_mg == 0
    (paper,) = Document.objects.filter(kind=DocumentKind.CERTIFICATE)
    assert (paper.party.code, paper.lot) == ("P-01", lot)
    fetched = one.collection
    assert (fetched.order, fetched.collector, fetched.identity_kind, fetched.identity_number, fetched.against) == (
        "Order 12 of the party",
        "Piet Haul",
        "passport",
        "X1234567",
        "own",
    )


def test_sent_without_a_look_it_is_shown_first():
    settling.bar_in_vault()
    client = people.signed_in(people.vera_vault())
    answer = client.post("/vault/gate/", entry(client, lots="A000001"))
    assert "Look at what it comes to below, then send it out." in answer.content.decode()
    assert not dispatches().exists()


def test_other_lots_than_those_shown_do_not_leave():
    settling.bar_in_vault("A000001")
    settling.bar_in_vault("A000002")
    client = people.signed_in(people.vera_vault())
    sent, _ = looked(client, lots="A000001")
    client.post("/vault/gate/", sent | {"lots": "A000001\nA000002"})
    assert not dispatches().exists()


def test_a_form_sent_twice_leaves_once():
    settling.bar_in_vault()
    client = people.signed_in(people.vera_vault())
    sent, _ = looked(client, lots="A000001")
    client.post("/vault/gate/", sent)
    again = client.post("/vault/gate/", sent, follow=True)
    assert "Nothing was recorded twice." in again.content.decode()
    assert dispatches().count() == 1
    assert Document.objects.filter(kind=DocumentKind.CERTIFICATE).count() == 1


def test_the_claim_is_shown_before_and_after():
    lot = house_bar()
    client = people.signed_in(people.vera_vault())
    # 1 kg at 999.9 is settled at 99 %: a claim of 989.901 g, less than the bar's 999.900 g.
    sent, text = looked(client, lots=lot.number, against="claim")
    assert "989.901" in text
    assert "−9.999" in text
    assert "too small" in text
    assert "would be refused" in text
    answer = client.post("/vault/gate/", sent)
    assert "The metal account holds 989.901 g of Au, 9.999 g less than this delivery." in answer.content.decode()
    assert f"{lot.number}</textarea>" in answer.content.decode()
    assert not dispatches().exists()


def test_a_sufficient_claim_is_drawn_on():
    lot = house_bar("A000001")
    house_bar("A000002")
    client = people.signed_in(people.vera_vault())
    sent, text = looked(client, lots=lot.number, against="claim")
    assert ">979.902<" in text  # 2 × 989.901 − 999.900
    client.post("/vault/gate/", sent)
    assert MetalAccount.objects.get(party__code="P-01", metal="Au").balance_mg == 979_902


def test_a_sale_must_leave_what_is_owed():
    lot = house_bar()
    client = people.signed_in(people.vera_vault())
    sent, text = looked(client, lots=lot.number, against="sale", party=people.party("P-02").code)
    assert "not covered" in text
    answer = client.post("/vault/gate/", sent)
    assert "The house would hold less Au than it owes its customers" in answer.content.decode()
    assert not dispatches().exists()


def test_house_metal_does_not_leave_as_the_partys_own():
    lot = house_bar()
    client = people.signed_in(people.vera_vault())
    sent, text = looked(client, lots=lot.number)
    assert "belongs to the house: send it against a claim, or as sold" in text
    answer = client.post("/vault/gate/", sent)
    assert f"Lot {lot.number} belongs to the house" in answer.content.decode()
    assert not dispatches().exists()


@pytest.mark.parametrize(
    ("make", "obstacle"),
    [
        (lambda: builders.handed_over(builders.received()[0], people.vera_vault(), "VAULT"), "not released"),
        (lambda: builders.released(builders.received()[0]), "in the custody of Fiona Marl"),
        (lambda: builders.held(builders.received()[0]), "not released by compliance"),
    ],
)
def test_what_stands_in_the_way_is_said_beside_the_lot(make, obstacle):
    lot = make()
    client = people.signed_in(people.vera_vault())
    sent, text = looked(client, lots=lot.number)
    assert obstacle in text
    client.post("/vault/gate/", sent)
    assert not dispatches().exists()


def test_anothers_metal_does_not_leave():
    settling.bar_in_vault()
    client = people.signed_in(people.vera_vault())
    _, text = looked(client, lots="A000001", party=people.party("P-02").code)
    assert "belongs to Tern Valley Placer Cooperative" in text


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"lots": ""}, "Lots, bars, boxes is missing."),
        ({"lots": "A999999"}, "There is no lot A999999."),
        ({"lots": "A000001\nBAR"}, "is the same lot as A000001"),
        ({"lots": "A000001", "against": ""}, "It leaves as is missing."),
        ({"lots": "A000001", "party": "P-99"}, "Select a valid choice."),
        ({"lots": "A000001", "against": "returned"}, "Select a valid choice."),
        ({"lots": "A000001", "order": " "}, "By the order is missing."),
        ({"lots": "A000001", "collector": ""}, "Fetched by is missing."),
        ({"lots": "A000001", "identity_kind": ""}, "Known by is missing."),
        ({"lots": "A000001", "identity_number": ""}, "Number is missing."),
        ({"lots": "A000001", "at": "2999-01-01T10:00"}, "This date is in the future."),
    ],
)
def test_what_cannot_be_read_is_said_and_kept(changes, sentence):
    lot = settling.bar_in_vault()
    changes = changes | {"lots": changes["lots"].replace("BAR", lot.number)}
    client = people.signed_in(people.vera_vault())
    sent, text = looked(client, reason="Carrier 7", **changes)
    if sent["seen"]:
        text = client.post("/vault/gate/", sent).content.decode()
    assert sentence in text
    assert 'value="Carrier 7"' in text
    assert not dispatches().exists()


def test_a_certificate_that_cannot_be_written_is_offered_again(monkeypatch):
    lot = settling.bar_in_vault()
    client = people.signed_in(people.vera_vault())
    sent, _ = looked(client, lots="A000001")
    with monkeypatch.context() as broken:
        broken.setattr("custody.actions.issue_certificate.render_certificate", lambda *_, **__: 1 / 0)
        answer = client.post("/vault/gate/", sent, follow=True)
    text = answer.content.decode()
    assert "The certificate of bar HFR A000001" in text
    assert "Issue the missing certificates" in text
    (one,) = dispatches()
    assert not lot.documents.exists()
    assert (
        people.signed_in(people.adam_auditor()).post(f"/vault/dispatch-certificates/{one.number}/").status_code == 403
    )
    again = client.post(f"/vault/dispatch-certificates/{one.number}/", follow=True).content.decode()
    assert "1 bar certificate issued" in again
    assert "Issue the missing certificates" not in again
    assert lot.documents.get().party.code == "P-01"


@pytest.mark.parametrize(
    "who", [people.fiona_frontdesk, people.otto_operator, people.matt_accountant, people.adam_auditor]
)
def test_only_the_vault_opens_the_gate(who):
    assert people.signed_in(who()).get("/vault/gate/").status_code == 403


def test_any_reader_of_the_book_sees_a_dispatch_and_its_papers():
    one = settling.dispatched(settling.bar_in_vault())
    text = people.signed_in(people.adam_auditor()).get(f"/vault/dispatch/{one.number}/").content.decode()
    assert "not issued yet" in text
    assert "Issue the missing certificates" not in text


def test_bought_metal_is_sold_when_nothing_is_owed():
    (lot,) = builders.received(basis=Basis.PURCHASE)
    lot = builders.handed_over(builders.released(builders.valued(lot, Cu=90_000)), people.vera_vault(), "VAULT")
    one = settling.dispatched(lot, to=people.party("P-02"), against=Against.SALE)
    assert one.party.code == "P-02"
    table = people.signed_in(people.adam_auditor()).get(f"/vault/dispatch/{one.number}/").context["tables"][0]
    assert [column.name for column in table.columns] == ["number", "bar", "gross", "cu", "certificate"]


def test_the_certificate_says_what_the_book_says():
    lot = settling.bar_in_vault()
    client = people.signed_in(people.vera_vault())
    answer = client.post(f"/vault/certificate/{lot.number}/")
    assert answer["Location"] == f"/lot/{lot.number}/"
    paper = lot.documents.get()
    content = b"".join(client.get(f"/papers/{paper.pk}/"))
    text = reading.text(content)
    bar = lot.bar
    for wanted in (
        f"HFR A000001 {bar.year}",
        "1 000.000",
        "999.9",
        "999.900",
        "32.148",  # 999.9 g ÷ 31.1034768 g, as a kilobar of four nines is agreed
        "mass balance (ISO 22095)",
        f"C-{lot.number}",
        "fire assay",
        "Anna Bead",
        "Vera Lock",
    ):
        assert wanted in text
    assert reading.codes(content) == [str(bar)]
    assert "Tern Valley" not in text


def test_the_lot_page_of_a_bar_offers_its_certificate_to_the_vault_alone():
    lot = settling.bar_in_vault()
    address = f"/vault/certificate/{lot.number}/"
    assert address in people.signed_in(people.vera_vault()).get(f"/lot/{lot.number}/").content.decode()
    assert address not in people.signed_in(people.adam_auditor()).get(f"/lot/{lot.number}/").content.decode()


def test_what_is_no_bar_has_no_certificate():
    (lot,) = builders.received()
    client = people.signed_in(people.vera_vault())
    answer = client.post(f"/vault/certificate/{lot.number}/", follow=True)
    assert "only a bar has a certificate" in answer.content.decode()
    assert not lot.documents.exists()


def test_a_bar_worked_up_again_has_no_certificate():
    lot = builders.handed_over(builders.bar("A000001"), people.otto_operator(), "FURNACE-1")
    record_step(
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, lot.gross_mg, {"Au": lot.au_mg})],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    answer = people.signed_in(people.vera_vault()).post(f"/vault/certificate/{lot.number}/", follow=True)
    assert "is no more: it went into melt" in answer.content.decode()


def test_fineness_is_never_rounded_up():
    bar = Bar.objects.get(lot=settling.bar_in_vault(grams=9))
    paper = certificate_paper(bar, copy_no=1, at=timezone.now(), by=people.vera_vault())
    assert (paper.fine_mg, paper.gross_mg) == (8_998, 9_000)  # 9 g by the mark, 999.8
    assert paper.fineness_ppm == 999_888  # 8999 ÷ 9000 is 999 888.9 ppm


def test_the_collection_note_says_what_left_and_who_fetched_it():
    lot = settling.bar_in_vault()
    client = people.signed_in(people.vera_vault())
    sent, _ = looked(client, lots="A000001")
    client.post("/vault/gate/", sent)
    (one,) = dispatches()
    (paper,) = Document.objects.filter(kind=DocumentKind.COLLECTION)
    assert (paper.operation, paper.party.code) == (one, "P-01")
    content = b"".join(client.get(f"/papers/{paper.pk}/"))
    text = reading.text(content)
    for wanted in (one.number, lot.number, "HFR A000001", "999.900", "Order 12 of the party", "Piet Haul", "passport"):
        assert wanted in text
    assert "X1234567" not in text
    assert reading.page_count(content) == 2
    assert reading.codes(content) == [one.number]
    client.post(f"/vault/dispatch-note/{one.number}/")
    assert Document.objects.filter(kind=DocumentKind.COLLECTION, copy_no=2).exists()


@pytest.mark.parametrize(
    ("who", "number"),
    [(people.vera_vault, "X1234567"), (people.adam_auditor, "X1234567"), (people.otto_operator, "…67")],
)
def test_the_number_of_an_identity_is_whole_for_those_who_work_with_it(who, number):
    one = settling.dispatched(settling.bar_in_vault())
    text = people.signed_in(who()).get(f"/vault/dispatch/{one.number}/").content.decode()
    assert "Piet Haul" in text
    assert f"<dd>{number}" in "".join(text.split()).replace("<dd>", "<dd>")


def test_no_note_of_a_dispatch_that_was_reversed():
    one = settling.dispatched(settling.bar_in_vault())
    reverse(operation=one, reason="Not fetched", at=timezone.now(), by=people.mona_manager())
    answer = people.signed_in(people.vera_vault()).post(f"/vault/dispatch-note/{one.number}/", follow=True)
    assert "was reversed by" in answer.content.decode()
    assert not Document.objects.filter(kind=DocumentKind.COLLECTION).exists()
