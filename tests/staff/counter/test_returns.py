"""Parcels that go back unmelted: weighed as they leave, to their own party, never settled."""

import pytest
from django.utils import timezone

from custody.actions._steps import Drawn
from custody.actions.give_back import GoingBack, give_back
from custody.actions.weigh import Weighed
from custody.actions.work import Make, Take, record_step, reverse
from custody.errors import ReturnedRule, UnknownLot
from custody.models import Document, Operation, Weighing
from custody.queries.settling import content_of, gross_of
from custody.terms import Basis, DocumentKind, Form, Kind, Purpose, SampleCut, SamplePurpose
from tests import builders, people, settling
from tests.documents import reading
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db

COLLECTED = {
    "order": "Request by telephone",
    "collector": "Mara Quill",
    "identity_kind": "passport",
    "identity_number": "X1234567",
}


def entry(*lots, key=None, weighed=None, **fields):
    weighed = weighed or {}
    rows = [
        {"lot": lot.number, "gross": weighed.get(lot.number, f"{lot.gross_mg / 1000:.3f}"), "scale": "BENCH-2"}
        for lot in lots
    ]
    return body(key=key, rows={"parcel": rows}, **COLLECTED | {"reason": "No agreement on the price"} | fields)


def sent_back(lots, who=people.fiona_frontdesk, **more):
    receipt = builders.receipt_of(lots[0])
    return people.signed_in(who()).post(f"/counter/return/{receipt.number}/", entry(*lots, **more))


def back(lot, **more):
    """A return by the action itself."""
    told = {
        "receipt": builders.receipt_of(lot),
        "parcels": [GoingBack(lot.number, Weighed("BENCH-2", lot.gross_mg))],
        "reason": "No agreement",
        "collected": builders.COLLECTED,
        "at": timezone.now(),
        "by": people.fiona_frontdesk(),
    }
    return give_back(**told | more)


def test_a_parcel_goes_back_weighed_with_its_note():
    first, second = builders.received(1_000_000, 500_000)
    answer = sent_back([first])
    one = Operation.objects.get(kind=Kind.DISPATCH)
    assert answer.url == f"/vault/dispatch/{one.number}/", faults(answer)
    assert (one.party.code, one.reason, one.collection.against) == ("P-01", "No agreement on the price", "returned")
    assert (builders.fresh(first.number).gross_mg, builders.fresh(second.number).gross_mg) == (0, 500_000)
    weighing = Weighing.objects.get(purpose=Purpose.RETURN)
    assert (weighing.lot, weighing.net_mg, weighing.operation) == (first, 1_000_000, one)
    paper = Document.objects.get(kind=DocumentKind.RETURN)
    content = b"".join(people.signed_in(people.fiona_frontdesk()).get(f"/papers/{paper.pk}/"))
    text = reading.text(content)
    for wanted in (one.number, first.number, "No agreement on the price", "Mara Quill", "passport", "1 000.000"):
        assert wanted in text
    assert reading.page_count(content) == 2
    assert reading.codes(content) == [one.number]
    page = people.signed_in(people.adam_auditor()).get(f"/receipt/{first.receipt.number}/").content.decode()
    assert f"returned unmelted by {one.number}" in page


def test_a_form_sent_twice_sends_back_once():
    (lot,) = builders.received()
    told = entry(lot)
    client = people.signed_in(people.fiona_frontdesk())
    address = f"/counter/return/{builders.receipt_of(lot).number}/"
    client.post(address, told)
    again = client.post(address, told, follow=True)
    assert "Nothing was recorded twice." in again.content.decode()
    assert Operation.objects.filter(kind=Kind.DISPATCH).count() == 1
    assert Document.objects.filter(kind=DocumentKind.RETURN).count() == 1


def test_a_difference_that_the_scales_do_not_explain_is_countersigned():
    (lot,) = builders.received()
    answer = sent_back([lot], weighed={lot.number: "999.000"})
    assert "1.000 g apart" in faults(answer)
    assert "Countersignature" in answer.content.decode()
    assert not Operation.objects.filter(kind=Kind.DISPATCH).exists()
    signed = {
        "countersigner": "mona",
        "countersign_password": people.PASSWORD,
        "countersign_meaning": "Weighed twice together",
    }
    people.mona_manager()
    answer = sent_back([lot], weighed={lot.number: "999.000"}, **signed)
    assert answer.status_code == 302, faults(answer)
    one = Operation.objects.get(kind=Kind.DISPATCH)
    assert (str(one.countersigned_by), one.countersign_meaning) == ("Mona Ravn", "Weighed twice together")


def test_within_the_scales_errors_nobody_countersigns():
    (lot,) = builders.received()
    assert sent_back([lot], weighed={lot.number: "1000.100"}).status_code == 302
    assert Operation.objects.get(kind=Kind.DISPATCH).countersigned_by is None


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"reason": ""}, "Reason is missing."),
        ({"collector": ""}, "Fetched by is missing."),
        ({"identity_number": ""}, "Number is missing."),
        ({"parcel-0-gross": ""}, "Fill in at least one parcel."),
        ({"parcel-0-gross": "1,5 oz"}, "gross weight"),
        ({"parcel-0-lot": "L99-00001"}, "There is no lot L99-00001"),
        ({"at": "2999-01-01T10:00"}, "future"),
    ],
)
def test_what_cannot_be_read_is_said_and_kept(changes, sentence):
    (lot,) = builders.received()
    answer = people.signed_in(people.fiona_frontdesk()).post(
        f"/counter/return/{builders.receipt_of(lot).number}/", entry(lot) | changes
    )
    assert sentence in faults(answer)
    assert 'value="Request by telephone"' in answer.content.decode()
    assert builders.fresh(lot.number).gross_mg == lot.gross_mg


def test_a_held_parcel_stays():
    (lot,) = builders.received()
    builders.held(lot)
    assert "held" in faults(sent_back([lot]))


def test_a_parcel_in_other_hands_stays():
    (lot,) = builders.received()
    builders.handed_over(lot, people.vera_vault(), "VAULT")
    assert "custody" in faults(sent_back([lot]))


def test_what_is_left_of_a_sampled_parcel_may_go_back():
    (lot,) = builders.received()
    with_sam = builders.handed_over(lot, people.sam_sampler(), "LAB")
    record_step(
        kind=Kind.SAMPLE,
        inputs=[Take(with_sam.number, 2_000)],
        outputs=[Make(Form.SAMPLE, 2_000, drawn=Drawn(SampleCut.DRILL, SamplePurpose.LABORATORY))],
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    lot = builders.handed_over(builders.fresh(lot.number), people.fiona_frontdesk(), "COUNTER")
    assert sent_back([lot]).status_code == 302
    assert builders.fresh(lot.number).gross_mg == 0


def test_settled_bought_and_melted_parcels_and_those_of_others_do_not_go_back():
    settled = builders.valued(builders.received()[0])
    settling.settled(settled)
    (melted,) = builders.ready(100)
    made = record_step(
        kind=Kind.MELT,
        inputs=[Take(melted.number)],
        outputs=[Make(Form.MELT, melted.gross_mg, {"Au": melted.au_mg, "Ag": melted.ag_mg})],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    with pytest.raises(ReturnedRule, match="settled or paid"):
        back(builders.fresh(settled.number))
    with pytest.raises(UnknownLot):
        back(builders.fresh(made.lots[0]))
    (other,) = builders.received(of=people.party("P-02"))
    with pytest.raises(UnknownLot):
        back(other, receipt=builders.receipt_of(settled))


def test_what_went_back_is_not_settled_unless_the_return_is_undone():
    kept, gone = (builders.valued(lot) for lot in builders.received(1_000_000, 500_000))
    receipt = builders.receipt_of(kept)
    assert content_of(receipt)["Au"] == 1_200_000
    posted = back(gone)
    assert (content_of(receipt)["Au"], gross_of(receipt)) == (800_000, 1_000_000)
    settlement = settling.settled(kept)
    assert settlement.lines.get(metal="Au").content_mg == 800_000
    reverse(
        operation=Operation.objects.get(pk=posted.id), reason="Not fetched", at=timezone.now(), by=people.mona_manager()
    )
    assert content_of(receipt)["Au"] == 1_200_000


def test_house_parcels_not_yet_settled_go_back_too():
    (lot,) = builders.received(basis=Basis.PURCHASE)
    back(lot)
    assert builders.fresh(lot.number).gross_mg == 0


@pytest.mark.parametrize("who", [people.vera_vault, people.otto_operator, people.adam_auditor, *people.CUSTOMERS])
def test_only_the_front_desk_sends_parcels_back(who):
    (lot,) = builders.received()
    assert people.signed_in(who()).get(f"/counter/return/{builders.receipt_of(lot).number}/").status_code == 403
