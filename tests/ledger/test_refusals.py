"""Every refusal of the posting function, by a request that provokes it; the last column is the refusal."""

import json
import re
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from django.db import transaction

from custody import errors
from custody.actions import _post
from custody.models import Operation, Terms
from custody.sql import FOLDER
from custody.terms import METALS
from tests.ledger.scene import fine, now, the_scene

#: Raised elsewhere than in custody_post: by other doors, by the guards alone, or by the application itself.
ELSEWHERE = {
    "refused", "not_allowed", "append_only", "sealed", "busy", "settled_once", "settled_once_and_whole",
    "settled_content", "settled_total", "approved_by_another", "accepted_by_another", "clearance_right",
    "nothing_handed_over", "month_not_over", "lot_number", "operation_number",
    # test_scales.py
    "unknown_scale", "scale_plate", "scale_check", "scale_unchecked", "scale_failed", "scale_load", "reading",
    # test_handover.py
    "weighed_or_says_why_not", "handover_difference", "not_weighed_countersigned", "handover_signed_by_both",
    # test_counter.py
    "slip", "purchase", "collection", "amendment_countersigned", "amended_since", "returned", "bought",
    # test_samples.py
    "sample",
    "attachment",  # actions/test_attach.py
    # test_laboratory.py
    "worksheet_balance", "worksheet_load", "worksheet_reported", "assayed_again", "proof_metal",
    # test_exchange.py
    "exchange", "sealed_once", "no_umpire", "exchange_open", "indication_only",
    "exchange_due", "exchange_agreed", "sealed_by_another", "exchange_named", "splitting_limits", "umpire_rule",
    "umpire_is_a_third",
    # test_prices.py
    "no_price", "doubtful_price", "price_day", "price_stands", "price_replaced", "price_of_something",
    "price_confirmed_by_another", "price_confirm", "price_confirm_right", "price_limit",
    # test_bands.py
    "outside_band", "poor_yield",
    # test_solutions.py
    "solution", "solution_stale", "effluent_no_limits", "effluent_unassayed", "effluent_unmeasured",
    "effluent_undischarged", "effluent_over_limit", "over_capacity",
    # test_cells.py
    "current_overlaps", "current_outside_run",
    # test_bar_types.py
    "unknown_bar_type", "bar_weight", "bar_fineness", "bar_type_stays", "serial_spoiled", "serial_range",
    "serial_of_type", "serial_used", "serial_ranges_apart",
    # test_boxes.py
    "box", "boxed",
    # test_vault.py
    "vault_closed", "vault", "vault_opened_by_two", "vault_right", "vault_purpose", "place", "place_right",
    "count", "count_told", "counted_by_two", "count_right", "counted_since",
}  # fmt: skip


@pytest.fixture(scope="module")
def scene(book):
    made = the_scene()
    made.book = book
    return made


def melt(*inputs, out=None, **more):
    """A melt of whole lots; without ``out`` all into one."""
    total = [sum(column) for column in zip(*(lot.columns_mg for lot in inputs), strict=True)]
    made = {"form": "melt", "gross_mg": total[0], "fine_mg": dict(zip(METALS, total[1:], strict=True))}
    request = {"kind": "melt", "inputs": [{"lot": lot.number} for lot in inputs], "outputs": [made | (out or {})]}
    return request | more


def spilt(lot, **signed):
    """A loss past every tolerance."""
    return losing(lot, "slag", 50_000, **signed)


def taking(entry, **more):
    return {"kind": "melt", "inputs": [entry], "outputs": [{"form": "melt", "gross_mg": 1}]} | more


def losing(lot, cause, metals, **more):
    """A melt that loses so much gold, in mg."""
    left = fine(lot)
    left["Au"] -= metals
    loss = {"cause": cause, "gross_mg": metals, "fine_mg": {"Au": metals}} | more.pop("loss", {})
    return melt(lot, out={"gross_mg": lot.gross_mg - metals, "fine_mg": left}, losses=[loss]) | more


def dispatching(lot, scene, **more):
    return {"kind": "dispatch", "by": scene.vera.pk, "party": "P-01", "inputs": [{"lot": lot.number}]} | more


def receiving(**more):
    return {"kind": "receive", "party": "P-01", "place": "COUNTER", "outputs": [{"form": "dore", "gross_mg": 5}]} | more


def casting(lot, **bar):
    return melt(lot, out={"form": "bar", "mark": "HFR"} | bar) | {"kind": "cast"}


def undoing(operation, **more):
    return {"kind": "reverse", "reverses": operation.number, "reason": "Entered wrongly"} | more


REFUSALS = {
    "unbalanced": (lambda s: melt(s.ours, out={"gross_mg": 999_999}), errors.Unbalanced),
    "metal unbalanced": (lambda s: melt(s.ours, out={"fine_mg": {"Au": 1}}), errors.Unbalanced),
    "more than the lot": (lambda s: taking({"lot": s.ours.number, "gross_mg": 1_000_001}), errors.Overdraw),
    "an empty lot": (lambda s: taking({"lot": s.empty.number}), errors.Overdraw),
    "nothing taken": (lambda s: taking({"lot": s.ours.number, "gross_mg": 0}), errors.NegativeAmount),
    "a negative take": (lambda s: taking({"lot": s.ours.number, "gross_mg": -5}), errors.NegativeAmount),
    "nothing made": (lambda s: melt(s.ours, out={"gross_mg": 0}), errors.NegativeAmount),
    "a negative metal": (lambda s: melt(s.ours, out={"fine_mg": {"Au": -1}}), errors.NegativeAmount),
    "named metals": (
        lambda s: taking({"lot": s.ours.number, "gross_mg": 5, "fine_mg": {"Au": 5}}), errors.MetalsFollow),
    "metals over gross": (lambda s: melt(s.ours, out={"gross_mg": 5}), errors.MetalsOverGross),
    "metals over gross left": (
        lambda s: {"kind": "draw", "outputs": [{"form": "solution", "gross_mg": s.content.gross_mg - 9}],
                   "inputs": [{"lot": s.content.number, "gross_mg": s.content.gross_mg - 9, "fine_mg": {}}]},
        errors.MetalsOverGross,
    ),
    "an unknown lot": (lambda s: taking({"lot": "L-NONE"}), errors.UnknownLot),
    "a lot twice": (lambda s: melt(s.ours, s.ours), errors.LotTwice),
    "a lot number again": (lambda s: melt(s.ours, out={"lot": s.empty.number}), errors.LotTaken),
    "a number again": (lambda s: melt(s.ours, number="OLD-1"), errors.NumberTaken),
    "a held lot": (lambda s: melt(s.held), errors.HeldLot),
    "in other hands": (lambda s: melt(s.others), errors.NotCustodian),
    "before its last event": (lambda s: melt(s.ours, at=now() - timedelta(hours=9)), errors.BeforeLastEvent),
    "in the future": (lambda s: melt(s.ours, at=now() + timedelta(hours=1)), errors.Future),
    "in a closed month": (lambda s: melt(s.ours, at=s.book.month), errors.ClosedPeriod),
    "an unknown kind": (lambda s: melt(s.ours) | {"kind": "conjure"}, errors.UnknownKind),
    "an unknown party": (lambda s: dispatching(s.toll, s, party="P-99"), errors.UnknownParty),
    "a receipt of nobody": (lambda s: receiving(party=None), errors.UnknownParty),
    "an unknown owner": (lambda s: receiving(owner="P-99"), errors.UnknownParty),
    "an unknown place": (lambda s: melt(s.ours, place="MOON"), errors.UnknownPlace),
    "an unknown bar": (lambda s: receiving(outputs=[{"form": "bar", "gross_mg": 5, "returned_from": "L-NONE"}]),
                       errors.UnknownBar),
    "a bar in the vault returned": (
        lambda s: receiving(outputs=[{"form": "bar", "gross_mg": 5, "returned_from": s.book.bar.number}]),
        errors.UnknownBar,
    ),
    "a receipt with inputs": (lambda s: receiving(inputs=[{"lot": s.ours.number}]), errors.ReceiptRule),
    "a receipt of nothing": (lambda s: receiving(outputs=[]), errors.NoOutputs),
    "no inputs": (lambda s: melt(s.ours) | {"inputs": []}, errors.NoInputs),
    "no outputs": (lambda s: melt(s.ours) | {"outputs": []}, errors.NoOutputs),
    "mixed before its assay": (lambda s: melt(s.ours, s.unvalued), errors.MixingUnvalued),
    "mixed before its release": (lambda s: melt(s.ours, s.unreleased), errors.MixingUnreleased),
    "a segregated lot mixed": (lambda s: melt(s.ours, s.segregated), errors.MixingModel),
    "an identity mixed": (lambda s: melt(s.ours, s.identity), errors.MixingModel),
    "metal of an unvalued lot": (lambda s: melt(s.unvalued, out={"fine_mg": {"Au": 5}}), errors.NotValued),
    "content outside its run": (lambda s: melt(s.content), errors.InProcess),
    "a content by a melt": (lambda s: melt(s.ours, out={"form": "in process"}), errors.RunRule),
    "a draw from a lot": (lambda s: melt(s.ours) | {"kind": "draw"}, errors.RunRule),
    "a finish of a part": (
        lambda s: {"kind": "finish", "inputs": [{"lot": s.content.number, "gross_mg": 900}],
                   "outputs": [{"form": "residue", "gross_mg": 900}]}, errors.RunRule),
    "a charge without a vessel": (
        lambda s: melt(s.ours) | {"kind": "charge"}, errors.RunRule),
    "a full vessel": (
        lambda s: melt(s.ours, out={"form": "in process", "vessel": "VESSEL-2"}) | {"kind": "charge"},
        errors.VesselHoldsContent,
    ),
    "a cause not of this step": (lambda s: losing(s.ours, "effluent", 5), errors.CauseNotAllowed),
    "a cause without words": (lambda s: losing(s.ours, "other", 5), errors.CauseWords),
    "an addition not of this step": (
        lambda s: melt(s.ours, additions=[{"what": "acid", "gross_mg": 5}]), errors.AdditionNotAllowed),
    "a valuation typed in": (
        lambda s: melt(s.ours, additions=[{"what": "valuation", "gross_mg": 5}]), errors.AdditionNotAllowed),
    "an addition of metal": (
        lambda s: melt(s.ours, additions=[{"what": "flux", "gross_mg": 5, "fine_mg": {"Au": 5}}]),
        errors.AdditionMetal,
    ),
    "over tolerance": (lambda s: spilt(s.ours), errors.CountersignatureNeeded),
    "a difference unsigned": (
        lambda s: melt(s.ours) | {"kind": "difference"}, errors.CountersignatureNeeded),
    "countersigned by oneself": (
        lambda s: spilt(s.ours, countersigned_by=s.otto.pk, countersign_meaning="Seen", reason="Spilt"),
        errors.CountersignedByAnother,
    ),
    "countersigned by no manager": (
        lambda s: spilt(s.ours, countersigned_by=s.vera.pk, countersign_meaning="Seen", reason="Spilt"),
        errors.CountersignerRight,
    ),
    "countersigned without a reason": (
        lambda s: spilt(s.ours, countersigned_by=s.mona.pk, countersign_meaning="Seen"),
        errors.ReasonNeeded,
    ),
    "a difference of two lots": (
        lambda s: melt(s.ours, s.more) | {"kind": "difference"}, errors.DifferenceRule),
    "valued without an assay": (lambda s: {"kind": "value", "lot": s.ours.number}, errors.AcceptedAssay),
    "valued by another's assay": (
        lambda s: {"kind": "value", "lot": s.ours.number, "acceptance": acceptance_of(s.more)}, errors.AcceptedAssay),
    "a stamp used again": (lambda s: casting(s.ours, serial="HF-1"), errors.BarReused),
    "a cancelled stamp unnamed": (lambda s: casting(s.ours, serial="HF-CANCELLED"), errors.BarReplaces),
    "a stamp that replaces another": (
        lambda s: casting(s.ours, serial="HF-NEW", replaces=s.cancelled_bar) | {}, None),
    "out of the gate unreleased": (lambda s: dispatching(s.unseen, s), errors.NotReleased),
    "another's metal": (lambda s: dispatching(s.toll, s, party="P-02"), errors.NotOwner),
    "the house's own as its own": (lambda s: dispatching(s.house, s, against="own"), errors.DispatchRule),
    "a dispatch to nobody": (lambda s: dispatching(s.toll, s, party=None), errors.DispatchRule),
    "against no claim": (lambda s: dispatching(s.house, s, party="P-02", against="claim"), errors.ClaimTooSmall),
    "sold below what is owed": (lambda s: dispatching(s.house, s, party="P-02"), errors.NotCovered),
    "reversing nothing": (lambda s: {"kind": "reverse", "reverses": "OP-NONE", "reason": "x"}, errors.UnknownOperation),
    "reversed without a reason": (lambda s: undoing(s.used, reason=None), errors.ReasonNeeded),
    "reversed again": (lambda s: undoing(s.undone), errors.ReversedAlready),
    "a reversal reversed": (lambda s: undoing(s.reversal), errors.ReversedAlready),
    "reversed before it happened": (lambda s: undoing(s.used, at=now() - timedelta(hours=9)), errors.BeforeLastEvent),
    "its output used": (lambda s: undoing(s.used), errors.ReverseFirst),
    "its output handed over": (lambda s: undoing(s.moved), errors.HandedOverSince),
    "its loss recovered": (lambda s: undoing(s.lossy), errors.RecoveredSince),
    "its content changed": (lambda s: undoing(s.counted), errors.ContentChanged),
    "its receipt settled": (lambda s: undoing(Operation.objects.get(number="OLD-9")), errors.SettledReceipt),
    "its vessel used": (lambda s: undoing(s.finish_in_used_vessel), errors.OneContent),
}  # fmt: skip


def acceptance_of(lot):
    return lot.determinations.get().acceptance.pk


@pytest.mark.parametrize(("request_of", "refusal"), REFUSALS.values(), ids=REFUSALS.keys())
def test_refused(scene, request_of, refusal):
    before = Operation.objects.count()
    body = {"at": now(), "by": scene.otto.pk} | request_of(scene)
    if refusal is None:
        with transaction.atomic():
            _post.post_in_transaction(body)
            transaction.set_rollback(True)
        return
    with pytest.raises(refusal) as caught:
        _post.post(body)
    assert type(caught.value) is refusal
    assert "{" not in caught.value.sentence
    assert "None" not in caught.value.sentence
    assert Operation.objects.count() == before


def test_a_form_sent_twice_with_other_figures(scene):
    """The first is kept out of the book by the rollback; the second meets it all the same."""
    body = {"at": now(), "by": scene.otto.pk, "request_key": uuid4()} | melt(scene.ours)
    with transaction.atomic():
        first = _post.post_in_transaction(body)
        again = _post.post_in_transaction(body)
        assert (again.id, again.lots, again.replayed) == (first.id, first.lots, True)
        with pytest.raises(errors.RequestKey), _post.refusals(), transaction.atomic():
            _post.post_in_transaction(body | melt(scene.more))
        transaction.set_rollback(True)


def handing(lot, to, place, by, at=None):
    """A call of custody_hand_over() that says why the lot is not weighed."""
    body = {
        "lot": lot.number,
        "to_person": to.pk,
        "to_place": place,
        "by": by.pk,
        "not_weighed": "sealed, the seal seen unbroken",
    }
    return "custody_hand_over", json.dumps(body | {"at": (at or now()).isoformat()})


DOORS = {
    "handed to who has it": (
        lambda s: handing(s.ours, s.otto, "FURNACE-1", s.otto),
        errors.NothingHandedOver,
    ),
    "handed over by a bystander": (
        lambda s: handing(s.ours, s.mona, "VAULT", s.vera), errors.NotCustodian),
    "an empty lot handed over": (
        lambda s: handing(s.empty, s.vera, "VAULT", s.otto), errors.Overdraw),
    "handed over before its last event": (
        lambda s: handing(s.ours, s.vera, "VAULT", s.otto, now() - timedelta(hours=9)),
        errors.BeforeLastEvent,
    ),
    "a content carried off": (
        lambda s: handing(s.content, s.vera, "VAULT", s.otto), errors.InProcess),
    "released by who may not": (
        lambda s: ("custody_clear", s.held.number, "released", "I want it", now(), s.otto.pk), errors.ClearanceRight),
    "released without a reason": (
        lambda s: ("custody_clear", s.held.number, "released", "", now(), s.otto.pk), errors.ReasonNeeded),
    "a month that runs": (lambda s: ("custody_close_period", now().date(), s.mona.pk), errors.MonthNotOver),
    "a month closed already": (lambda s: ("custody_close_period", s.book.month.date(), s.mona.pk), errors.ClosedPeriod),
    "settled again": (
        lambda s: ("custody_issue_settlement", json.dumps({"receipt": s.book.receipt.number, "at": now().isoformat()})),
        errors.SettledOnce,
    ),
    "settled by other figures": (
        lambda s: ("custody_issue_settlement", json.dumps(statement(s, [{"metal": "Au", "content_mg": 1}]))),
        errors.SettledContent,
    ),
}  # fmt: skip


def statement(scene, lines):
    return {
        "receipt": Operation.objects.get(created_lots=scene.house).number, "at": now().isoformat(), "outturn": "metal",
        "currency": "EUR", "charges": "0", "total": "0", "prepared_by": scene.otto.pk, "approved_by": scene.mona.pk,
        "approval_meaning": "Checked", "charge_lines": [], "lines": lines, "terms": Terms.objects.first().pk,
    }  # fmt: skip


@pytest.mark.parametrize(("call_of", "refusal"), DOORS.values(), ids=DOORS.keys())
def test_refused_at_another_door(scene, call_of, refusal):
    with pytest.raises(refusal) as caught, transaction.atomic():
        _post.call(*call_of(scene))
    assert type(caught.value) is refusal
    assert "{" not in caught.value.sentence


def test_every_refusal_is_provoked():
    provoked = {refusal.code for _, refusal in REFUSALS.values() if refusal} | {"request_key"}
    assert provoked == set(errors.BY_CODE) - ELSEWHERE


def test_every_rule_of_the_database_has_its_refusal():
    """What custody_refuse() names has a class with a sentence; two names are for whoever goes past the poster."""
    named = {
        name
        for path in Path(FOLDER).glob("*.sql")
        for name in re.findall(r"custody_refuse\('(\w+)'", path.read_text(encoding="utf-8"))
    }
    assert named - set(errors.BY_CODE) == {"movements_complete", "origin_conserved"}


def test_a_value_that_no_column_holds(scene):
    """The forms and the history reader refuse it before; whoever else asks gets a sentence too, and no crash."""
    for body in (melt(scene.ours, out={"gross_mg": 10**30}), melt(scene.ours, number="N" * 41)):
        with pytest.raises(errors.Refusal, match="not one that the book can hold"):
            _post.post({"at": now(), "by": scene.otto.pk} | body)
