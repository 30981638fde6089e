"""Boxes past every line of Python: a bar lies in one closed box, a seal is used once, a box passes and leaves whole.

And what leaves by the gate is weighed as it leaves.
"""

import json

import pytest
from django.db import transaction
from django.utils import timezone

from custody import errors
from custody.actions import _post
from custody.actions._sign import Signature
from custody.actions._weighings import keep_weighings
from custody.actions.boxes import open_box, pack_box
from custody.actions.history import LineRefused, import_history
from custody.actions.move import dispatch
from custody.actions.weigh import Weighed
from custody.actions.work import Make, Take, correct_lot, record_step, reverse
from custody.models import Box, BoxOpening, MetalAccount, Operation
from custody.queries.verify import verify
from custody.terms import Against, Basis, Form, Kind, Outturn, Purpose
from tests import builders, everything_of_bars, people, settling

FETCHED = {"order": "Order 7", "collector": "Piet Haul", "identity_kind": "passport", "identity_number": "X1"}


HEADER = '{"record":"header","format":"custody-history","version":1}'
DAY = "2024-03-01T09:00:00+00:00"
RECEIVED = {
    "record": "operation", "number": "OLD-1", "kind": "receive", "at": DAY, "party": "P-01",
    "outputs": [{"lot": "OLD-A", "form": "dore", "gross_g": "100.000", "fine_g": {"Au": "99.990"}}],
}  # fmt: skip
CAST = {
    "record": "operation", "number": "OLD-2", "kind": "cast", "at": DAY, "inputs": [{"lot": "OLD-A"}],
    "outputs": [{"lot": "OLD-BAR", "form": "bar", "serial": "OLD1", "gross_g": "100.000", "fine_g": {"Au": "99.990"}}],
}  # fmt: skip
SENT = {
    "record": "operation", "number": "OLD-3", "kind": "dispatch", "at": DAY, "party": "P-01",
    "inputs": [{"lot": "OLD-BAR"}],
}  # fmt: skip


@pytest.fixture
def vault(committed_db):
    builders.places()
    return people.vera_vault()


def bars(*serials, grams=100):
    return [builders.handed_over(builders.bar(serial, grams=grams), people.vera_vault(), "VAULT") for serial in serials]


def packed(*lots, seal="S-1"):
    return pack_box(bars=[lot.number for lot in lots], seal=seal, at=timezone.now(), by=people.vera_vault())


def passing(lot, **more):
    """One handover past the action, for another to take."""
    body = {
        "lot": lot.number,
        "to_person": people.otto_operator().pk,
        "to_place": "SHOP",
        "at": timezone.now().isoformat(),
    }
    body |= {"by": people.vera_vault().pk, "not_weighed": "sealed, the seal seen unbroken"} | more
    with _post.refusals(), transaction.atomic():
        return _post.call("custody_hand_over", json.dumps(body))


def packing(*lots, **more):
    body = {"lots": [lot.number for lot in lots], "seal": "S-9", "at": timezone.now().isoformat()}
    return json.dumps(body | {"by": people.vera_vault().pk} | more)


def leaving(*lots, **more):
    """A dispatch past the action: with the transaction's end comes the question for its weighings."""
    request = {
        "kind": "dispatch", "at": timezone.now(), "by": people.vera_vault().pk, "party": "P-01", "against": "own",
        "collection": FETCHED, "inputs": [{"lot": lot.number} for lot in lots],
    }  # fmt: skip
    return request | more


def test_a_closed_box_is_worked_by_nobody_and_leaves_whole(vault):
    one, two, loose = bars("B1", "B2", "B3")
    box = packed(one, two)
    before = Operation.objects.count()
    melting = {
        "kind": "melt", "at": timezone.now(), "by": vault.pk, "inputs": [{"lot": one.number}],
        "outputs": [{"form": "melt", "gross_mg": one.gross_mg, "fine_mg": {"Au": one.au_mg}}],
    }  # fmt: skip
    for request in (melting, leaving(one), leaving(two, loose)):
        with pytest.raises(errors.Boxed) as refused:
            _post.post(request)
        assert refused.value.detail["box"] == box.number
    assert Operation.objects.count() == before
    _post.post(leaving(two, one))
    assert builders.fresh(one.number).gross_mg == builders.fresh(two.number).gross_mg == 0
    with pytest.raises(errors.BoxRule, match="left the house closed"):
        open_box(box=box, reason="Empty", at=timezone.now(), by=vault)
    assert verify().ok


def test_a_past_record_takes_nothing_out_of_a_box(vault):
    """Bars of imported records are packed today; a record of the years before may not have sent one out since."""
    people.party()
    import_history(lines=[HEADER, *map(json.dumps, (RECEIVED, CAST))])
    lot = builders.fresh("OLD-BAR")
    with transaction.atomic():
        box = _post.call("custody_pack_box", packing(lot, by=lot.custodian_id))
    assert box
    with pytest.raises(LineRefused, match="OLD-BAR"):
        import_history(lines=[HEADER, json.dumps(SENT)])
    assert verify().ok


def test_a_box_passes_whole_by_its_seal(vault):
    one, two = bars("B1", "B2")
    packed(one, two)
    with pytest.raises(errors.Boxed):
        passing(one)
    with pytest.raises(errors.WeighedOrSaysWhyNot, match="passes by its seal"):
        passing(one, not_weighed="bar counted by its serial")
    with pytest.raises(errors.Boxed):
        passing(one, weighing={"scale": builders.scale().code, "gross_mg": one.gross_mg, "tare_mg": 0})
    assert builders.fresh(one.number).custodian == vault
    with _post.refusals(), transaction.atomic():
        for lot in (one, two):
            passing(lot)
    assert {builders.fresh(lot.number).place.code for lot in (one, two)} == {"SHOP"}
    assert verify().ok


def test_what_may_be_packed(vault):
    one, two = bars("B1", "B2")
    other = builders.bar("B3", grams=100)
    granules = builders.ready(20, by=vault, where="VAULT")[0]
    spent = bars("B4")[0]
    settling.dispatched(spent)
    elsewhere = builders.handed_over(builders.bar("B5", grams=100), vault, "SHOP")
    packed(one, seal="Seal-1")
    hour_ago = (timezone.now() - timezone.timedelta(hours=1)).isoformat()
    for call, refusal in (
        (packing(two, two), errors.LotTwice),
        (packing(), errors.BoxRule),
        (packing(two, seal=""), errors.BoxRule),
        (packing(two, seal="SEAL-1"), errors.BoxRule),  # it is on a box already
        (packing(granules), errors.BoxRule),
        (packing(two, elsewhere), errors.BoxRule),
        (packing(other), errors.NotCustodian),
        (packing(two, one), errors.Boxed),
        (packing(spent), errors.Overdraw),
        (packing(two, at=hour_ago), errors.BeforeLastEvent),
    ):
        with pytest.raises(refusal) as caught, transaction.atomic():
            _post.call("custody_pack_box", call)
        assert "{" not in caught.value.sentence
    assert Box.objects.count() == 1


def test_who_opens_a_box_holds_it_and_says_why(vault):
    one, two = bars("B1", "B2")
    box = packed(one, two)
    for said, by, refusal in (("", vault, errors.BoxRule), ("Count", people.otto_operator(), errors.NotCustodian)):
        body = {"box": box.number, "reason": said, "at": timezone.now().isoformat(), "by": by.pk}
        with pytest.raises(refusal), transaction.atomic():
            _post.call("custody_open_box", json.dumps(body))
    between = timezone.now()
    first = open_box(box=box, reason="Count", at=timezone.now(), by=vault)
    assert open_box(box=box, reason="Again", at=timezone.now(), by=vault) == first
    with pytest.raises(errors.BeforeLastEvent):  # as the box was still closed
        _post.post(leaving(one, at=between))
    _post.post(leaving(one))
    assert BoxOpening.objects.count() == 1
    packed(two, seal="S-2")
    assert verify().ok


def test_a_cast_is_not_undone_while_a_bar_of_it_is_boxed(vault):
    (metal,) = builders.ready(100, by=people.otto_operator(), Au=999_900)
    cast = record_step(
        kind=Kind.CAST, inputs=[Take(metal.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(Form.BAR, metal.gross_mg, {"Au": metal.au_mg}, place="VAULT", serial="B1")],
    )  # fmt: skip
    with transaction.atomic():
        _post.call("custody_pack_box", packing(builders.fresh(cast.lots[0]), by=people.otto_operator().pk))
    with pytest.raises(errors.Boxed):
        reverse(
            operation=Operation.objects.get(pk=cast.id), reason="Twice", at=timezone.now(), by=people.otto_operator()
        )


def test_what_is_no_bar_is_weighed_as_it_leaves(vault):
    (lot,) = builders.ready(100, by=vault, where="VAULT")
    (bar,) = bars("B1")

    def left(net_mg=None, **more):
        with _post.refusals(), transaction.atomic():
            posted = _post.post_in_transaction(leaving(lot, bar, **more))
            weighed = {lot.number: Weighed(builders.scale().code, net_mg)} if net_mg else {}
            keep_weighings(weighed, purpose=Purpose.GATE, at=timezone.now(), by=vault, operation=posted.id)

    signed = {"countersigned_by": people.mona_manager().pk, "countersign_meaning": "Weighed with Vera"}
    for said, rule in (
        ({}, "weighed_or_says_why_not"),
        ({"net_mg": 99_000}, "handover_difference"),
        ({"net_mg": 99_000, **signed}, "reason_needed"),
    ):
        with pytest.raises(errors.Refusal) as refused:
            left(**said)
        assert refused.value.code == rule
    assert builders.fresh(lot.number).gross_mg == 100_000
    left(99_000, reason="Dust stayed in the tray", **signed)
    assert builders.fresh(lot.number).gross_mg == 0
    assert verify().ok


@pytest.mark.parametrize("form", [Form.CEMENT_COPPER, Form.CAKE, Form.BAR])
def test_by_products_leave_by_the_same_gate(vault, form):
    (lot,) = builders.ready(100, Ag=900_000)
    made = record_step(
        kind=Kind.MELT, inputs=[Take(lot.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(form, lot.gross_mg, {"Ag": lot.ag_mg})],
    )  # fmt: skip
    lot = builders.handed_over(builders.fresh(made.lots[0]), vault, "VAULT")
    with pytest.raises(errors.WeighedOrSaysWhyNot, match="weighed as it leaves"):
        dispatch(lots=[lot.number], party=people.party(), at=timezone.now(), by=vault, collected=builders.COLLECTED)
    settling.dispatched(lot)
    assert verify().ok


def typed_bar(serial, *, silver_mg=30):
    """A kilobar of the house's, of a type, with a trace of silver."""
    bought = builders.received(1_000_000, basis=Basis.PURCHASE)[0]
    bought = builders.handed_over(
        builders.released(builders.valued(bought, Au=999_950, Ag=silver_mg)), people.otto_operator()
    )
    cast = record_step(
        kind=Kind.CAST, inputs=[Take(bought.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(Form.BAR, bought.gross_mg, {"Au": bought.au_mg, "Ag": bought.ag_mg}, place="SHOP",
                      serial=serial, bar_type="AU-1000")],
    )  # fmt: skip
    return builders.handed_over(builders.fresh(cast.lots[0]), people.vera_vault(), "VAULT")


def test_a_bar_of_a_type_pays_a_claim_in_its_metal_alone(vault):
    everything_of_bars.kilobar()
    bar, more = typed_bar("K1"), typed_bar("K2")
    claim = settling.settled(builders.valued(builders.received(3_000_000)[0], Au=999_900), Outturn.METAL)
    assert claim
    before = MetalAccount.objects.get(party__code="P-01", metal="Au").balance_mg
    settling.dispatched(bar, against=Against.CLAIM)
    assert MetalAccount.objects.get(party__code="P-01", metal="Au").balance_mg == before - bar.au_mg
    assert not MetalAccount.objects.filter(metal="Ag", balance_mg__gt=0).exists()
    # What else is in it leaves as the house's own: not where the house would owe more silver than it holds.
    owed = builders.valued(builders.received(10_000, of=people.party("P-02"))[0], Ag=999_000)
    settling.settled(owed, Outturn.METAL)  # 95 % of 9.990 g: 9.490 g are owed
    correct_lot(
        lot=owed.number, gross_mg=owed.gross_mg, fine_mg={"Ag": 9_475}, book_mg=owed.columns_mg, at=timezone.now(),
        reason="Assayed again", countersign=Signature(people.mona_manager(), "Seen"), by=people.matt_accountant(),
    )  # fmt: skip
    with pytest.raises(errors.NotCovered):
        settling.dispatched(more, against=Against.CLAIM)
    assert verify().ok


def test_a_countersigned_difference_is_kept_with_its_meaning(vault):
    (lot,) = builders.ready(100, by=vault, where="VAULT")
    said = {
        "lots": [lot.number], "party": people.party(), "at": timezone.now(), "by": vault, "against": Against.OWN,
        "collected": builders.COLLECTED, "weighed": {lot.number: Weighed(builders.scale().code, 99_000)},
    }  # fmt: skip
    with pytest.raises(errors.HandoverDifference):
        dispatch(**said)
    posted = dispatch(**said, reason="Dust", countersign=Signature(people.mona_manager(), "Weighed together"))
    one = Operation.objects.get(pk=posted.id)
    assert (one.reason, one.countersigned_by, one.countersign_meaning) == (
        "Dust",
        people.mona_manager(),
        "Weighed together",
    )


def test_no_part_of_a_bar_leaves_a_closed_box(vault):
    """Of the two bars of a box both are named, and of one only half goes: the box would not be whole in the house."""
    one, two = bars("P1", "P2")
    packed(one, two, seal="S-P")
    half = [{"lot": one.number}, {"lot": two.number, "gross_mg": two.gross_mg // 2}]
    with pytest.raises(errors.Boxed):
        _post.post(leaving() | {"inputs": half})


def test_a_cast_is_not_undone_before_its_bar_came_out_of_the_box(vault):
    bar, otto = builders.bar("U1"), people.otto_operator()
    cast, before = Operation.objects.get(pk=bar.created_by_id), timezone.now()
    with transaction.atomic():
        _post.call("custody_pack_box", packing(bar, by=otto.pk))
        number = Box.objects.get().number
        opening = {"box": number, "at": timezone.now().isoformat(), "by": otto.pk, "reason": "Wrong stamp"}
        _post.call("custody_open_box", json.dumps(opening))
    with pytest.raises(errors.BeforeLastEvent):
        reverse(operation=cast, reason="Wrong stamp", at=before, by=otto)
    reverse(operation=cast, reason="Wrong stamp", at=timezone.now(), by=otto)
