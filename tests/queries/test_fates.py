"""Every gram that a campaign's parcels brought is found again by its fate, to the milligram."""

from itertools import count

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from custody.actions.work import Lose, Make, Take, record_step
from custody.models import Lot, OriginReceipt
from custody.queries import fates
from custody.terms import METALS, Cause, Form, Kind
from tests import builders, people
from tests.queries.past import dispatch, history, lot, operation, receive

pytestmark = pytest.mark.django_db
_books = count(1)


def of(parcels):
    found = fates.fates_of(list(parcels), people.adam_auditor())
    assert found.missing_mg == (0,) * len(METALS)
    return found


def grams(mg):
    return f"{'-' if mg < 0 else ''}{abs(mg) // 1000}.{abs(mg) % 1000:03d}"


#: A book in few figures: the gold of each parcel (mg of a kilogram), for each parcel the batch that it goes into, and
#: of each batch what is lost to slag, what is found over book, what becomes a bar, and whether that leaves.
BOOKS = st.lists(
    st.tuples(
        st.lists(st.integers(1_000, 999_000), min_size=1, max_size=4),
        st.integers(0, 900),
        st.integers(0, 900),
        st.integers(1, 900),
        st.booleans(),
    ),
    min_size=1,
    max_size=3,
)


def recorded(book):
    """Records a random book as a past; gives the numbers of its parcels."""
    name, parcels, lines, rest = f"F{next(_books)}", [], [], None
    for number, (golds, slag, gain, bar, leaves) in enumerate(book):
        these = [f"{name}-{number}-{position}" for position in range(len(golds))]
        parcels += these
        lines += [receive(parcel, day="2025-01-02", au=grams(gold)) for parcel, gold in zip(these, golds, strict=True)]
        carried = rest or (None, 0, 0)
        gross, gold = 1_000_000 * len(golds) + carried[1], sum(golds) + carried[2]
        inputs = [{"lot": parcel} for parcel in (*these, *([carried[0]] if carried[0] else []))]
        left_gross, left_gold = gross - slag, gold - slag + gain
        bar_gold = bar * left_gold // 1000
        bar_gross = max(bar * left_gross // 1000, bar_gold)
        outputs = [
            lot(f"{name}-BAR-{number}", grams(bar_gross), {"Au": grams(bar_gold)}, "bar", serial=f"{name}S{number}"),
            lot(f"{name}-REST-{number}", grams(left_gross - bar_gross), {"Au": grams(left_gold - bar_gold)}),
        ]
        losses = [
            {"cause": "slag", "gross_g": grams(slag), "fine_g": {"Au": grams(slag)}},
            {"cause": "measurement difference", "gross_g": "0", "fine_g": {"Au": grams(-gain)}},
        ]
        losses = [loss for loss, mg in zip(losses, (slag, gain), strict=True) if mg]
        lines.append(operation(f"{name}-CAST-{number}", "cast", day="2025-01-03", inputs=inputs, outputs=outputs,
                               losses=losses))  # fmt: skip
        if leaves:
            lines.append(dispatch(f"{name}-BAR-{number}", day="2025-01-04"))
        rest = (f"{name}-REST-{number}", left_gross - bar_gross, left_gold - bar_gold)
    history(*lines)
    return parcels


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(BOOKS)
def test_all_fates_sum_to_what_was_received(book):
    parcels = recorded(book)
    chosen = Lot.objects.filter(number__in=parcels).select_related("origin")
    found = of(chosen)
    gold = METALS.index("Au")
    assert found.received_mg[gold] == sum(sum(golds) for golds, *_ in book)
    bars = [row for row in found.rows if row.group == "bars of Au" or row.group == "dispatched"]
    assert len(bars) <= len(book)
    half = of(chosen[: (len(parcels) + 1) // 2])
    other = of(chosen[(len(parcels) + 1) // 2 :])
    assert tuple(a + b for a, b in zip(half.found_mg, other.found_mg, strict=True)) == found.found_mg


def test_each_gram_stands_in_its_group():
    builders.places()
    one, two = builders.ready(600, 400, Au=900_000, Ag=90_000)
    posted = record_step(
        kind=Kind.CAST, inputs=[Take(one.number), Take(two.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[
            Make(Form.BAR, 890_000, {"Au": 889_000}, serial="A000001", place="SHOP"),
            Make(Form.CEMENT_COPPER, 101_000, {"Au": 10_950, "Ag": 89_970}, place="SHOP"),
        ],
        losses=(Lose(Cause.SLAG, 9_000, {"Au": 30, "Ag": 30}), Lose(Cause.DIFFERENCE, 0, {"Au": 20})),
        reason="The mould was cold", countersign=None,
    )  # fmt: skip
    assert len(posted.lots) == 2
    receipt = builders.receipt_of(one)
    found = of(fates.parcels_of_receipts([receipt.number], people.adam_auditor()))
    gold, silver = METALS.index("Au"), METALS.index("Ag")
    assert {group: (mgs[gold], mgs[silver]) for group, mgs in found.groups.items()} == {
        "bars of Au": (889_000, 0),
        "cement copper": (10_950, 89_970),
        "lost": (30, 30),
        "differences": (20, 0),
    }
    assert found.rows[0].words == "A000001"
    sums = OriginReceipt.objects.filter(origin__lot__in=[one, two])
    assert sum(row.au_mg for row in sums) == found.received_mg[gold] == 900_000


def test_what_is_not_valued_is_told_by_gross():
    (lot,) = builders.received(250_000)
    found = of(fates.parcels_of_receipts([builders.receipt_of(lot).number], people.adam_auditor()))
    assert [(row.unvalued_mg, row.where) for row in found.rows] == [(250_000, "COUNTER Front counter")]


def test_another_party_sees_no_parcel():
    (lot,) = builders.received()
    number = builders.receipt_of(lot).number
    assert not fates.parcels_of_receipts([number], people.stranger())
    assert not fates.parcels_of_days(timezone.localdate(), timezone.localdate(), people.stranger())
