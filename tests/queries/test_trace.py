"""Trace: what a lot says of itself when it is empty, cancelled or unvalued, and the walk of the graph."""

import pytest
from django.utils import timezone

from custody.actions.work import Make, Take, record_step, reverse
from custody.errors import Refusal
from custody.models import Lot
from custody.queries import trace
from custody.terms import Form, Kind
from tests import builders, people
from tests.queries.past import cast, dispatch, history, lot, operation, receive

pytestmark = pytest.mark.django_db


def told(number: str, metal: str = "Au") -> dict[str, int]:
    return {
        share.origin: share.mg for share in trace.origins_of(Lot.objects.get(number=number)) if share.metal == metal
    }


def fates(number: str) -> list[tuple]:
    found = trace.fates_of(Lot.objects.get(number=number))
    return [(fate.fate, fate.lot or fate.cause, fate.mg) for fate in found if fate.metal == "Au"]


def two_into_one() -> None:
    """L-1 and L-2 melt into L-3, half a gram of slag; L-4 is taken from it, then the rest is cast."""
    history(
        receive("L-1", day="2024-01-01"),
        receive("L-2", day="2024-01-02", gross="500", au="300"),
        operation(
            "OP-M", "melt", day="2024-01-03", inputs=[{"lot": "L-1"}, {"lot": "L-2"}],
            outputs=[lot("L-3", "1499", {"Au": "1199.5"})],
            losses=[{"cause": "slag", "gross_g": "1", "fine_g": {"Au": "0.5"}}],
        ),
        operation(
            "OP-D", "divide", day="2024-01-04", inputs=[{"lot": "L-3", "gross_g": "499"}],
            outputs=[lot("L-4", "499", {"Au": "399.3"})],
        ),
        operation(
            "OP-C", "cast", day="2024-01-05", inputs=[{"lot": "L-3"}],
            outputs=[lot("L-5", "1000", {"Au": "800.2"}, "bar", serial="A1")],
        ),
        dispatch("L-5", day="2024-01-06"),
    )  # fmt: skip


def test_an_empty_lot_traces_as_it_last_left():
    two_into_one()
    assert Lot.objects.get(number="L-3").gross_mg == 0
    assert told("L-3") == told("L-5")  # what was left of it went into the bar
    assert told("L-5") == {"L-1": 600_150, "L-2": 200_050}  # 3 : 1, as 900 and 300 g went in
    assert told("L-1") == {"L-1": 900_000}


def test_every_milligram_of_a_parcel_has_a_fate():
    two_into_one()
    assert fates("L-1") == [("dispatched", "L-5", 600_150), ("loss", "slag", 375), ("stock", "L-4", 299_475)]
    assert sum(mg for *_, mg in fates("L-1")) == 900_000
    assert sum(mg for *_, mg in fates("L-2")) == 300_000


def test_a_metal_of_which_a_withdrawal_took_nothing_stays_in_its_lot():
    history(
        receive("L-1", day="2024-01-01", gross="100", au="0.001"),
        operation(
            "OP-D", "divide", day="2024-01-02", inputs=[{"lot": "L-1", "gross_g": "10"}],
            outputs=[lot("L-2", "10", {})],
        ),
    )  # fmt: skip
    assert fates("L-1") == [("stock", "L-1", 1)]


def test_origins_know_their_receipt_and_its_day():
    two_into_one()
    first = trace.origins_of(Lot.objects.get(number="L-5"))[0]
    assert (first.receipt, first.received_on.isoformat(), first.party, first.country) == (
        "OP-L-1", "2024-01-01", "P-77", "NL",
    )  # fmt: skip


def test_a_gain_is_an_origin_that_names_its_operation():
    history(
        receive("L-1", day="2024-01-01"),
        operation(
            "OP-M", "melt", day="2024-01-02", inputs=[{"lot": "L-1"}], outputs=[lot("L-2", "1000", {"Au": "900.100"})],
            losses=[{"cause": "measurement difference", "gross_g": "0", "fine_g": {"Au": "-0.100"}}],
        ),
    )  # fmt: skip
    gain = next(share for share in trace.origins_of(Lot.objects.get(number="L-2")) if share.difference)
    assert (gain.origin, gain.mg, gain.receipt, gain.party) == ("difference", 100, "OP-M", "")
    assert trace.back_document(Lot.objects.get(number="L-2"))["metals"]["Au"]["difference_mg"] == 100


def test_a_cancelled_lot_traces_as_it_was_and_stands_in_no_graph():
    (parcel,) = builders.ready()
    posted = record_step(
        kind=Kind.MELT,
        inputs=[Take(parcel.number)],
        outputs=[Make(Form.MELT, parcel.gross_mg, {"Au": parcel.au_mg, "Ag": parcel.ag_mg})],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    melt = builders.fresh(posted.lots[0])
    undone = reverse(operation=melt.created_by, reason="wrong lot", at=timezone.now(), by=people.otto_operator())
    assert told(melt.number) == {parcel.number: 800_000}
    assert trace.cancelled_by(melt).number == undone.number
    assert trace.cancelled_by(parcel) is None
    assert trace.ancestors_of(builders.fresh(melt.number)) == trace.descendants_of(parcel) == []
    assert fates(parcel.number) == [("stock", parcel.number, 800_000)]


def test_an_unvalued_lot_traces_by_gross():
    history(receive("L-1", day="2024-01-01", au=None))
    parcel = Lot.objects.get(number="L-1")
    assert trace.back_document(parcel)["unvalued"] == [{"origin": "L-1", "gross_mg": 1_000_000}]
    assert trace.forward_document(parcel)["unvalued"] == [{"lot": "L-1", "gross_mg": 1_000_000}]


def test_only_a_parcel_is_traced_forward():
    two_into_one()
    with pytest.raises(Refusal, match="Lot L-3 is not a parcel"):
        trace.forward_document(Lot.objects.get(number="L-3"))


def test_a_cancelled_serial_leaves_the_one_that_replaced_it():
    wrong = builders.bar("A7")
    reverse(operation=wrong.created_by, reason="weighed twice", at=timezone.now(), by=people.otto_operator())
    assert trace.find_lot("A7") == wrong  # cancelled, and still the only bar of that number
    (source,) = Lot.objects.filter(gross_mg__gt=0)
    posted = record_step(
        kind=Kind.CAST,
        inputs=[Take(source.number)],
        outputs=[Make(Form.BAR, source.gross_mg, {"Au": source.au_mg}, serial="A7", replaces=wrong.number)],
        at=timezone.now(),
        by=people.otto_operator(),
    )
    assert trace.find_lot("A7").number == posted.lots[0]


def test_the_walk_stops_at_the_nearest():
    history(
        receive("L-1", day="2024-01-01"),
        *(
            operation(
                f"OP-{n}", "melt", day=f"2024-01-{n:02d}", inputs=[{"lot": f"L-{n - 1}"}],
                outputs=[lot(f"L-{n}", "1000", {"Au": "900"})],
            )
            for n in range(2, 9)
        ),
        cast("L-8", "L-9", serial="A1", day="2024-01-09"),
    )  # fmt: skip
    bar, parcel = Lot.objects.get(number="L-9"), Lot.objects.get(number="L-1")
    assert trace.ancestors_of(bar) == [f"L-{n}" for n in range(1, 9)]
    assert trace.ancestors_of(bar, most=3) == ["L-6", "L-7", "L-8"]
    assert trace.descendants_of(parcel, most=2) == ["L-2", "L-3"]
