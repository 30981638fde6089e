"""Clean-outs: what was lost is found again once, and what nobody assayed is mixed with nothing."""

import pytest
from django.utils import timezone

from custody import errors
from custody.actions import _post
from custody.actions.work import Lose, Make, Take, record_step
from custody.models import Operation
from custody.queries import trace
from custody.queries.verify import verify
from custody.terms import METALS, Cause, Form, Kind
from tests import builders, people

pytestmark = pytest.mark.django_db


def melted(lot, lost_mg=0):
    """A melt whose lining keeps so much of its gold."""
    fine = dict(zip(METALS, lot.metals_mg, strict=True)) | {"Au": lot.au_mg - lost_mg}
    return record_step(
        kind=Kind.MELT, inputs=[Take(lot.number)], outputs=[Make(Form.MELT, lot.gross_mg - lost_mg, fine)],
        losses=(Lose(Cause.LINING, lost_mg, {"Au": lost_mg}),) if lost_mg else (), at=timezone.now(),
        by=people.otto_operator(),
    )  # fmt: skip


def gathered(gross_mg=1_000, cause=Cause.LINING):
    """Bricks of the furnace, broken out and weighed."""
    posted = record_step(
        kind=Kind.CLEAN_OUT, inputs=[], outputs=[Make(Form.SWEEPINGS, gross_mg)], losses=(Lose(cause, -gross_mg),),
        at=timezone.now(), by=people.otto_operator(), place=builders.place("SHOP"),
    )  # fmt: skip
    return builders.fresh(posted.lots[0])


def test_what_was_lost_is_not_found_twice_in_one_operation():
    """Two lines of one cause would each take the same 40 mg back."""
    builders.places()
    (lot,) = builders.ready()
    melted(lot, 40)
    (more,) = builders.ready(100)
    back = {"cause": "furnace lining", "gross_mg": -40, "fine_mg": {"Au": -40}}
    request = {
        "kind": "clean out", "at": timezone.now(), "by": people.otto_operator().pk, "place": "SHOP",
        "inputs": [{"lot": more.number}], "losses": [back, back],
        "outputs": [{"form": "melt", "gross_mg": more.gross_mg + 80,
                     "fine_mg": {"Au": more.au_mg + 80, "Ag": more.ag_mg}}],
    }  # fmt: skip
    count = Operation.objects.count()
    with pytest.raises(errors.CauseNotAllowed):
        _post.post(request)
    assert Operation.objects.count() == count
    request["losses"] = [{"cause": "furnace lining", "gross_mg": -80, "fine_mg": {"Au": -80}}]
    _post.post(
        request | {"reason": "Bricks", "countersigned_by": people.mona_manager().pk, "countersign_meaning": "Seen"}
    )
    assert verify().ok, verify().as_document()


def test_what_nobody_assayed_is_mixed_with_nothing():
    swept, also = gathered(), gathered(700)
    (ours,) = builders.ready(10)
    for pair in ((swept, ours), (ours, swept), (swept, also)):
        with pytest.raises(errors.MixingUnvalued):
            record_step(
                kind=Kind.MELT, inputs=[Take(lot.number) for lot in pair], at=timezone.now(), by=people.otto_operator(),
                outputs=[Make(Form.MELT, sum(lot.gross_mg for lot in pair),
                              {m: sum(lot.metals_mg[n] for lot in pair) for n, m in enumerate(METALS)})],
            )  # fmt: skip


def test_what_was_melted_before_its_assay_is_recovered_all_the_same():
    (lot,) = builders.ready()
    melted(lot, 40)
    swept = gathered()
    posted = record_step(
        kind=Kind.MELT, inputs=[Take(swept.number)], outputs=[Make(Form.MELT, swept.gross_mg)],
        at=timezone.now(), by=people.otto_operator(),
    )  # fmt: skip
    now = builders.valued(builders.fresh(posted.lots[0]), Au=30_000)
    assert now.au_mg == 30
    assert {share.origin for share in trace.origins_of(now) if share.metal == "Au"} == {lot.number}
    assert verify().ok, verify().as_document()


def test_what_nobody_assayed_does_not_leave_the_gate():
    swept = gathered()
    with pytest.raises(errors.NotValued):
        _post.post({
            "kind": "dispatch", "at": timezone.now(), "by": people.otto_operator().pk, "party": people.party().code,
            "against": "sale", "inputs": [{"lot": swept.number}],
        })  # fmt: skip


def test_what_an_assay_found_empty_is_assayed():
    """Nothing was found: what is known to hold nothing may go with other metal."""
    builders.places()
    swept = builders.valued(gathered(), Au=0, Ag=0)
    (ours,) = builders.ready(10)
    posted = record_step(
        kind=Kind.MELT, inputs=[Take(ours.number), Take(swept.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(Form.MELT, ours.gross_mg + swept.gross_mg, dict(zip(METALS, ours.metals_mg, strict=True)))],
    )  # fmt: skip
    assert builders.fresh(posted.lots[0]).au_mg == ours.au_mg
    assert verify().ok, verify().as_document()
