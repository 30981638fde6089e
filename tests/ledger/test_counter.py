"""The counter past every line of Python: slips, purchases, collections, returns and amendments keep their rules."""

import json
import threading
from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.db import connections, transaction
from hypothesis import given, settings
from hypothesis import strategies as st

from custody import errors
from custody.actions import _post
from custody.actions._sign import Signature
from custody.actions._weighings import keep_weighings
from custody.actions.weigh import Weighed
from custody.calc.purchase import amount
from custody.models import Amendment, Operation, Slip
from custody.queries.trace import fates_of
from custody.terms import Purpose
from refinery import roles
from tests import builders, counter, people, settling
from tests.ledger.scene import melted, now

RECEIVED = {"form": "jewellery", "gross_mg": 12_340, "origin": {"category": "recycled", "country": "CA"}}
IDENTITY = {"identity_kind": "passport", "identity_number": "X1"}
FETCHED = {"order": "7", "collector": "Piet Haul", **IDENTITY}


@pytest.fixture(scope="module")
def scene(book):
    fiona = people.fiona_frontdesk()
    one, two = builders.received(100_000, 200_000)
    settled = builders.valued(builders.received(50_000)[0])
    settling.settled(settled)
    (melted,) = builders.ready(60)
    return SimpleNamespace(
        fiona=fiona, mona=people.mona_manager(), vera=people.vera_vault(), one=one, two=two, settled=settled,
        melted=melted, bought=counter.bought(20_000), slip=counter.slip("SL26-90011"),
        spoiled=counter.spoiled("SL26-90012"), other=builders.received(30_000, of=people.party("P-02"))[0],
    )  # fmt: skip


def buying(scene, **changes):
    """A purchase as the poster is asked for it; ``line`` changes its only line."""
    line = {
        "metal": "Au", "indicated_ppm": 585_000, "method": "XRF indication", "price_per_g": "52.10",
        "payable_ppm": 920_000, "amount": "346.02",
    } | changes.pop("line", {})  # fmt: skip
    told = {"currency": "EUR", "total": "346.02", "payment": "cash", "price_source": "List", "lines": [line]} | changes
    return {
        "kind": "receive", "party": "P-01", "place": "COUNTER", "basis": "purchase", "outputs": [RECEIVED],
        "delivery": IDENTITY, "purchase": told,
    }  # fmt: skip


def delivering(**delivery):
    return {"kind": "receive", "party": "P-01", "place": "COUNTER", "outputs": [RECEIVED], "delivery": delivery}


def returning(scene, lot, **more):
    return {
        "kind": "dispatch", "by": scene.fiona.pk, "party": "P-01", "against": "returned", "reason": "No agreement",
        "inputs": [{"lot": lot.number}], "collection": FETCHED,
    } | more  # fmt: skip


def fetching(scene, **changes):
    return (
        {"kind": "dispatch", "inputs": [{"lot": scene.one.number}]}
        | returning(scene, scene.one)
        | {"collection": {key: value for key, value in (FETCHED | changes).items() if value}}
    )


POSTS = {
    "a slip never printed": (lambda s: delivering(slip="SL26-99999"), errors.SlipRule),
    "a slip spoiled": (lambda s: delivering(slip=s.spoiled.number), errors.SlipRule),
    "a slip entered": (lambda s: delivering(slip="SL26-90001"), errors.SlipRule),
    "replacing what stands": (lambda s: delivering(replaces=s.bought.number), errors.UnknownOperation),
    "another amount": (lambda s: buying(s, line={"amount": "346.01"}), errors.PurchaseRule),
    "no amount": (lambda s: buying(s, line={"amount": None}), errors.PurchaseRule),
    "another total": (lambda s: buying(s, total="346.03"), errors.PurchaseRule),
    "no total": (lambda s: buying(s, total=None), errors.PurchaseRule),
    "no price source": (lambda s: buying(s, price_source=""), errors.PurchaseRule),
    "paid in kind": (lambda s: buying(s, payment="beads"), errors.PurchaseRule),
    "no currency": (lambda s: buying(s, currency="euro"), errors.PurchaseRule),
    "bought by an assay": (lambda s: buying(s, line={"method": "fire assay by cupellation"}), errors.PurchaseRule),
    "a price past its decimals": (lambda s: buying(s, line={"price_per_g": "52.10001"}), errors.PurchaseRule),
    "more than pure": (lambda s: buying(s, line={"indicated_ppm": 1_000_001}), errors.PurchaseRule),
    "more than the price": (lambda s: buying(s, line={"payable_ppm": 1_000_001}), errors.PurchaseRule),
    "no such metal": (lambda s: buying(s, line={"metal": "Rh"}), errors.PurchaseRule),
    "a parcel without a price": (lambda s: buying(s) | {"outputs": [RECEIVED, RECEIVED]}, errors.PurchaseRule),
    "bought on toll": (lambda s: buying(s) | {"basis": "toll"}, errors.PurchaseRule),
    "bought of nobody seen": (lambda s: buying(s) | {"delivery": None}, errors.PurchaseRule),
    "fetched by no order": (lambda s: fetching(s, order=""), errors.CollectionRule),
    "fetched by nobody": (lambda s: fetching(s, collector=""), errors.CollectionRule),
    "fetched without a paper": (lambda s: fetching(s, identity_kind=""), errors.CollectionRule),
    "fetched without its number": (lambda s: fetching(s, identity_number=""), errors.CollectionRule),
    "fetched, nothing said": (lambda s: returning(s, s.one, collection=None), errors.CollectionRule),
    "by an unheard right": (lambda s: returning(s, s.one, against="gift"), errors.DispatchRule),
    "returned without a reason": (lambda s: returning(s, s.one, reason=None), errors.ReasonNeeded),
    "returned to another": (lambda s: returning(s, s.other), errors.NotOwner),
    "returned after settling": (lambda s: returning(s, s.settled), errors.ReturnedRule),
    "returned after paying": (lambda s: returning(s, s.bought.created_lots.get()), errors.ReturnedRule),
    "returned in part": (
        lambda s: returning(s, s.one, inputs=[{"lot": s.one.number, "gross_mg": 5}]), errors.ReturnedRule),
}  # fmt: skip


@pytest.mark.parametrize(("request_of", "refusal"), POSTS.values(), ids=POSTS.keys())
def test_refused(scene, request_of, refusal):
    before = Operation.objects.count()
    with pytest.raises(refusal) as caught:
        _post.post({"at": now(), "by": scene.fiona.pk} | request_of(scene))
    assert type(caught.value) is refusal
    assert "{" not in caught.value.sentence
    assert Operation.objects.count() == before


def test_a_held_parcel_is_not_returned(scene):
    (lot,) = builders.received(10_000)
    builders.held(lot)
    with pytest.raises(errors.HeldLot):
        _post.post({"at": now()} | returning(scene, lot))


def test_what_was_bought_is_not_settled(scene):
    request = {"receipt": scene.bought.number, "at": now().isoformat()}
    with pytest.raises(errors.Bought), transaction.atomic():
        _post.call("custody_issue_settlement", json.dumps(request))


@settings(max_examples=60)
@given(
    st.integers(1, 5_000_000),
    st.integers(1, 1_000_000),
    st.integers(1, 10**8).map(lambda units: Decimal(units).scaleb(-4)),
    st.integers(1, 1_000_000),
)
def test_postgresql_and_python_reckon_the_same_amount(scene, net_mg, ppm, price, payable):
    """What Python reckons is taken, and a cent more is not: the poster reckons it by itself."""
    due = amount(net_mg, ppm, price, payable)
    line = {"indicated_ppm": ppm, "price_per_g": str(price), "payable_ppm": payable}
    for paid, taken in ((due, True), (due + Decimal("0.01"), False)):
        request = buying(scene, line=line | {"amount": str(paid)}, total=str(paid))
        request |= {"at": now(), "by": scene.fiona.pk, "outputs": [RECEIVED | {"gross_mg": net_mg}]}
        with transaction.atomic():
            try:
                with _post.refusals(), transaction.atomic():
                    _post.post_in_transaction(request)
                accepted = True
            except errors.PurchaseRule:
                accepted = False
            transaction.set_rollback(True)
        assert accepted is taken


def amending(scene, **changes):
    told = {"receipt": scene.one.receipt.number, "lot": scene.one.number, "field": "seal", "before": "", "after": "S-1"}
    told |= {"reason": "Misread", "by": scene.fiona.pk} | changes
    return json.dumps({key: value for key, value in told.items() if value is not None})


AMENDMENTS = {
    "a new origin unsigned": (lambda s: amending(s, field="country", before="CA"), errors.AmendmentCountersigned),
    "after melting unsigned": (
        lambda s: amending(s, receipt=s.melted.receipt.number, lot=s.melted.number), errors.AmendmentCountersigned),
    "signed by oneself": (lambda s: amending(s, countersigned_by=s.fiona.pk), errors.CountersignedByAnother),
    "signed by no manager": (lambda s: amending(s, countersigned_by=s.vera.pk), errors.CountersignerRight),
    "without a reason": (lambda s: amending(s, reason=""), errors.ReasonNeeded),
    "nothing amended": (lambda s: amending(s, after=""), errors.ReasonNeeded),
    "no receipt": (lambda s: amending(s, receipt="R-NONE"), errors.UnknownOperation),
    "a parcel of another receipt": (lambda s: amending(s, lot=s.other.number), errors.UnknownLot),
    "what was amended meanwhile": (
        lambda s: amending(s, lot=s.two.number, before="S-7"), errors.AmendedSince),
}  # fmt: skip


@pytest.mark.parametrize(("call_of", "refusal"), AMENDMENTS.values(), ids=AMENDMENTS.keys())
def test_amendment_refused(scene, call_of, refusal):
    if not Amendment.objects.filter(lot=scene.two).exists():
        counter.amended(scene.two)
        melted(builders.fresh(scene.melted.number))
    before = Amendment.objects.count()
    with pytest.raises(refusal) as caught, transaction.atomic():
        _post.call("custody_amend", call_of(scene))
    assert type(caught.value) is refusal
    assert "{" not in caught.value.sentence
    assert Amendment.objects.count() == before


def test_an_amendment_counts_from_its_recording_whatever_is_asked(scene):
    """A program past the desk may not date an amendment back, into the time before a mixture."""
    _post.call("custody_amend", amending(scene, after="S-2", at="2020-01-01T00:00:00Z"))
    assert (now() - Amendment.objects.latest("id").at).total_seconds() < 60


def test_an_entered_slip_is_not_spoiled(scene, refused):
    entered = Slip.objects.get(number="SL26-90001")
    statement = (
        "INSERT INTO custody_spoiledslip (slip_id, reason, at, by_id) VALUES (%s, 'Torn', now(), %s)",
        [entered.pk, scene.fiona.pk],
    )
    assert refused(statement) == "slip"
    assert refused(statement, role=roles.APP) == "slip"


def test_of_two_who_enter_one_slip_at_once_one_is_refused(scene):
    """Each in a connection of its own."""
    answers = []

    def enter():
        try:
            _post.post({"at": now(), "by": scene.fiona.pk} | delivering(slip=scene.slip.number))
            answers.append("entered")
        except errors.SlipRule:
            answers.append("refused")
        finally:
            connections.close_all()

    racing = [threading.Thread(target=enter) for _ in range(2)]
    for thread in racing:
        thread.start()
    for thread in racing:
        thread.join()
    assert sorted(answers) == ["entered", "refused"]


def test_a_return_leaves_its_origin_dispatched(scene):
    (lot,) = builders.received(15_000)
    posted = counter.given_back(lot)
    assert [(fate.fate, fate.mg, fate.operation) for fate in fates_of(builders.fresh(lot.number))] == [
        ("dispatched", 15_000, posted.number)
    ]


@pytest.mark.parametrize(("net_mg", "rule"), [(None, "weighed_or_says_why_not"), (15_500, "handover_difference")])
def test_what_goes_back_is_weighed_and_a_difference_countersigned(scene, net_mg, rule):
    """Past the action: the transaction ends with the weighing, or not at all."""
    (lot,) = builders.received(15_000)

    def sent_back():
        with _post.refusals(), transaction.atomic():
            posted = _post.post_in_transaction({"at": now()} | returning(scene, lot))
            weighed = {lot.number: Weighed("BENCH-2", net_mg)} if net_mg else {}
            keep_weighings(weighed, purpose=Purpose.RETURN, at=now(), by=scene.fiona, operation=posted.id)

    with pytest.raises(errors.Refusal) as refused:
        sent_back()
    assert (refused.value.code, refused.value.detail["lot"]) == (rule, lot.number)
    assert builders.fresh(lot.number).gross_mg == 15_000


def test_the_signature_counts(scene):
    signed = Signature(scene.mona, "Papers compared")
    counter.amended(scene.one, "country", "CA", "PE", countersign=signed)
    assert "|PE|" in builders.fresh(scene.one.number).amended_origin
