"""A receipt weighed or entered wrongly, before melting: reversed and recorded anew in one, each naming the other."""

from uuid import uuid4

import pytest
from django.utils import timezone

from custody.actions.attach import attach
from custody.models import Document, Lot, Operation, Weighing
from custody.queries.papers import content_of
from custody.queries.verify import verify
from custody.terms import AttachmentKind, DocumentKind, Kind
from tests import builders, counter, files, people
from tests.documents import reading
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db

SIGNED = {
    "countersigner": "mona",
    "countersign_password": people.PASSWORD,
    "countersign_meaning": "Weighed again together",
}


@pytest.fixture(autouse=True)
def house():
    people.mona_manager()
    builders.places()


def entry(receipt, who=people.fiona_frontdesk, key=None, **changes):
    """The page as it opens, sent back with changes."""
    shown = people.signed_in(who()).get(f"/counter/replace/{receipt.number}/").context
    (rows,) = shown["row_sets"]
    form = shown["form"]
    values = {name: form[name].value() for name in form.fields if name not in ("request_key", "at")}
    told = {name: value for name, value in values.items() if value is not None}
    told |= {"at": form["at"].value().strftime("%Y-%m-%dT%H:%M"), "reason": "Two digits swapped"}
    lines = []
    for row in rows.forms:
        values = {name: row.fields[name].prepare_value(row[name].value()) for name in row.fields}
        lines.append({name: value for name, value in values.items() if value is not None})
    return body(key=key, rows={"parcel": lines}, **told) | {"initial-at": told["at"]} | changes


def replaced(receipt, key=None, **changes):
    address = f"/counter/replace/{receipt.number}/"
    return people.signed_in(people.fiona_frontdesk()).post(address, entry(receipt, key=key, **SIGNED | changes))


def test_the_page_opens_as_it_was_entered_and_records_the_right_one():
    lots = builders.received(builders.parcel(1_234_000, seal="S-1"), builders.parcel(500_000, seal="S-2"))
    first = builders.receipt_of(lots[0])
    answer = replaced(first, **{"parcel-0-gross": "1243.000"})
    assert answer.status_code == 302, faults(answer)
    right = Operation.objects.filter(kind=Kind.RECEIVE).latest("id")
    assert answer.url == f"/receipt/{right.number}/"
    assert [lot.gross_mg for lot in right.created_lots.order_by("id")] == [1_243_000, 500_000]
    assert (right.at, right.delivered_by, right.delivery.replaces) == (first.at, first.delivered_by, first)
    parcels = [lot.parcel for lot in right.created_lots.order_by("id")]
    assert [(parcel.seal, parcel.declared_au_ppm) for parcel in parcels] == [("S-1", 800_000), ("S-2", 800_000)]
    reversal = Operation.objects.get(reverses=first)
    assert (reversal.reason, str(reversal.countersigned_by)) == ("Two digits swapped", "Mona Ravn")
    assert {lot.gross_mg for lot in Lot.objects.filter(created_by=first)} == {0}
    assert Weighing.objects.count() == 4
    client = people.signed_in(people.adam_auditor())
    assert right.number in client.get(f"/receipt/{first.number}/").content.decode()
    assert first.number in client.get(f"/receipt/{right.number}/").content.decode()
    paper = Document.objects.get(kind=DocumentKind.RECEIPT, operation=right)
    assert first.number in reading.text(content_of(paper))
    assert verify().ok


def test_what_came_with_the_first_receipt_stands_on_the_right_one_too():
    first = builders.receipt_of(builders.received()[0])
    attach(
        receipt=first, lot=None, kind=AttachmentKind.PHOTOGRAPH, title="Three bags", content=files.JPEG,
        at=timezone.now(), by=people.fiona_frontdesk(),
    )  # fmt: skip
    counter.refused(first, reason="Mercury")
    for gross in ("1001.000", "1002.000"):  # replaced twice
        standing = Operation.objects.filter(kind=Kind.RECEIVE).latest("id")
        assert replaced(standing, key=str(uuid4()), **{"parcel-0-gross": gross}).status_code == 302
    right = Operation.objects.filter(kind=Kind.RECEIVE).latest("id")
    page = people.signed_in(people.clara_compliance()).get(f"/receipt/{right.number}/").content.decode()
    assert "Three bags" in page
    assert "Mercury" in page
    assert "Mercury" in reading.text(content_of(Document.objects.get(kind=DocumentKind.RECEIPT, operation=right)))


def test_without_a_manager_nothing_happens():
    receipt = builders.receipt_of(builders.received()[0])
    address = f"/counter/replace/{receipt.number}/"
    client = people.signed_in(people.fiona_frontdesk())
    for signed in ({}, SIGNED | {"countersigner": "fiona"}, SIGNED | {"countersign_password": "guessed"}):
        answer = client.post(address, entry(receipt) | signed)
        assert answer.status_code == 200
        assert 'class="errors"' in answer.content.decode()
    assert "A manager countersigns a receipt that is replaced." in faults(client.post(address, entry(receipt)))
    assert Operation.objects.count() == 1


def test_what_is_refused_leaves_the_first_receipt_standing():
    """The reversal is undone with the recording: never is one there without the other."""
    receipt = builders.receipt_of(builders.received()[0])
    builders.scale("FLOOR-1", checked=False)
    assert "was not checked that day" in faults(replaced(receipt, **{"parcel-0-scale": "FLOOR-1"}))
    assert not Operation.objects.filter(reverses=receipt).exists()


def test_after_a_step_it_says_what_to_reverse_first():
    (lot,) = builders.received()
    builders.valued(lot)
    answer = replaced(builders.receipt_of(lot))
    assert "Reverse OP" in faults(answer)
    builders.received(5_000)
    (moved,) = builders.received()
    builders.handed_over(moved, people.vera_vault(), "VAULT")
    assert "handed over since" in faults(replaced(builders.receipt_of(moved)))


def test_a_form_sent_twice_replaces_once():
    receipt = builders.receipt_of(builders.received()[0])
    told = entry(receipt, **SIGNED)
    client = people.signed_in(people.fiona_frontdesk())
    address = f"/counter/replace/{receipt.number}/"
    client.post(address, told)
    assert "Nothing was recorded twice." in client.post(address, told, follow=True).content.decode()
    assert "is reversed already" in client.get(address, follow=True).content.decode()
    assert Operation.objects.count() == 3


def test_a_purchase_is_not_replaced():
    receipt = counter.bought()
    page = people.signed_in(people.fiona_frontdesk()).get(f"/receipt/{receipt.number}/").content.decode()
    assert f"/counter/replace/{receipt.number}/" not in page
    assert "bought and paid at the counter" in faults(replaced(receipt))


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"reason": ""}, "What was wrong is missing."),
        ({"parcel-0-gross": "12,3,4"}, "gross weight"),
        ({"parcel-0-country": "Atlantis"}, "Atlantis"),
        ({"party": "Nobody"}, "There is no one party"),
    ],
)
def test_what_cannot_be_read_is_said_and_kept(changes, sentence):
    receipt = builders.receipt_of(builders.received(builders.parcel(seal="S-1"))[0])
    answer = replaced(receipt, **changes)
    assert sentence in faults(answer)
    assert 'value="S-1"' in answer.content.decode()
    assert people.PASSWORD not in answer.content.decode()
    assert Operation.objects.count() == 1


def test_after_melting_the_lots_that_hold_the_metal_are_corrected():
    from custody.actions.work import Make, Take, record_step
    from custody.terms import Form

    (lot,) = builders.ready(100)
    made = record_step(
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, lot.gross_mg, {"Au": lot.au_mg, "Ag": lot.ag_mg})],
        at=builders.timezone.now(),
        by=people.otto_operator(),
    )
    receipt = builders.receipt_of(lot).number
    page = people.signed_in(people.mona_manager()).get(f"/receipt/{receipt}/").content.decode()
    assert f"/plant/correct/{made.lots[0]}/" in page


@pytest.mark.parametrize("who", [people.otto_operator, people.adam_auditor, people.mona_manager, *people.CUSTOMERS])
def test_only_the_front_desk_replaces(who):
    receipt = builders.receipt_of(builders.received()[0])
    assert people.signed_in(who()).get(f"/counter/replace/{receipt.number}/").status_code == 403
