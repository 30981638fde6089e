"""The planner: what may be worked, what lots come to, why they may not mix, and the blend proposed."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from custody.actions.routes import set_plant
from custody.actions.work import Make, Take, record_step
from custody.calc.blend import Proposal, blend
from custody.errors import Refusal
from custody.models import Operation, RouteOrder
from custody.queries import planner
from custody.queries.reckoning import proposal
from custody.terms import METALS, CustodyModel, Form, Kind
from tests import builders, people

pytestmark = pytest.mark.django_db


def ask(person=people.otto_operator, **query):
    return people.signed_in(person()).get("/plant/planner/", query)


def listed(answer):
    return {str(row.record.number) for row in answer.context["table"].rows}


def ready(*grams, by=None, model=CustodyModel.MASS_BALANCE, **ppm):
    """Lots of one receipt, as builders.ready() makes them, received under a custody model."""
    keeper = by or people.otto_operator()
    parcels = [builders.parcel(gram * 1000, custody_model=model) for gram in grams]
    lots = builders.received(*parcels)
    return [builders.handed_over(builders.released(builders.valued(lot, **ppm)), keeper) for lot in lots]


def test_listed_is_what_is_released_valued_and_in_the_plant():
    (mine,) = builders.ready(100)
    (others,) = builders.ready(100, by=people.sam_sampler(), where="LAB")
    builders.handed_over(builders.ready(100)[0], people.vera_vault(), "VAULT")
    builders.handed_over(builders.received()[0], people.otto_operator())
    assert listed(ask()) == {mine.number}
    assert listed(ask(whose="all")) == {mine.number, others.number}
    assert listed(ask(people.mona_manager)) == {mine.number, others.number}, "a manager plans for all"


def test_the_list_is_narrowed_by_owner_model_assay_and_age():
    (rich,) = ready(100, Au=900_000, Ag=50_000)
    (poor,) = ready(100, model=CustodyModel.SEGREGATED, Au=500_000, Ag=400_000)
    assert listed(ask(least_gold="900")) == {rich.number}
    assert listed(ask(least_gold="900.001")) == set()
    assert listed(ask(most_silver="399.9")) == {rich.number}
    assert listed(ask(model="segregated")) == {poor.number}
    assert listed(ask(owner="P-01")) == {rich.number, poor.number}
    assert listed(ask(owner="-")) == set()
    assert listed(ask(older="1")) == set()


def test_lots_ticked_and_scanned_are_reckoned_together():
    (one,) = ready(100, Au=800_000, Ag=100_000)
    (two,) = ready(300, Au=600_000, Ag=300_000, Cu=50_000)
    answer = ask(lot=one.number, scanned=f"{two.number}\n", reckon="1")
    found = answer.context["found"]
    assert found.blend.gross_mg == 400_000
    assert found.blend.metals_mg == (260_000, 100_000, 0, 0, 15_000)
    assert found.broken == ("Ag is 25.00 %, more than 18.00 %.",)
    # A quarter gold: four times 260 g of gold, less the 375 g of metal that is there.
    assert found.advice.silver_to_add_mg == 665_000
    page = answer.content.decode()
    assert "Inquartation asks for 665.000 g of silver" in page
    assert "Inquartation with silver, then nitric parting, then aqua regia" in page
    assert "is not assayed; it may hold lead, tellurium, mercury" in page


def test_a_chosen_lot_that_is_not_listed_stays_chosen_when_asked_again():
    (mine,) = builders.ready(100)
    (others,) = builders.ready(100, by=people.sam_sampler(), where="LAB")
    answer = ask(lot=[mine.number, others.number], reckon="1")
    assert answer.context["form"]["scanned"].value() == others.number
    assert answer.context["table"].ticked == {mine.number, others.number}
    again = ask(scanned=f"{mine.number}\n{others.number}", reckon="1")
    assert again.context["form"]["scanned"].value() == others.number, "what is listed is ticked there"


def test_low_silver_lots_that_cure_it_are_named():
    (much,) = ready(100, Au=600_000, Ag=300_000)
    (little,) = ready(200, Au=950_000, Ag=10_000)
    page = ask(lot=much.number, reckon="1").content.decode()
    assert f"Ag comes to 18.00 % or less with {little.number}" in page


def test_what_may_not_mix_is_said_in_the_words_of_the_book():
    (apart,) = ready(100, model=CustodyModel.IDENTITY)
    (free,) = ready(100)
    (raw,) = [builders.handed_over(lot, people.otto_operator()) for lot in builders.received()]
    answer = ask(lot=[apart.number, free.number, raw.number], reckon="1")
    against = {one.lot.number: " ".join(one.against) for one in answer.context["found"].lots}
    assert "may not be mixed with these lots" in against[apart.number]
    assert against[free.number] == ""
    assert "not valued" in against[raw.number]
    assert "not released by compliance" in against[raw.number]
    assert answer.context["order_url"] == ""
    alone = ask(lot=apart.number, reckon="1")
    assert alone.context["order_url"], "alone it may go its way"


def segregated(origin):
    entry = builders.parcel(custody_model=CustodyModel.SEGREGATED, mine=origin)
    lot = builders.released(builders.valued(builders.received(entry)[0]))
    return builders.handed_over(lot, people.otto_operator())


@pytest.mark.parametrize(
    "lots",
    [
        lambda: [*ready(100), *ready(100)],
        lambda: [*ready(100), *ready(100, model=CustodyModel.IDENTITY)],
        lambda: [segregated("One Hill"), segregated("One Hill")],
        lambda: [segregated("One Hill"), segregated("Other Hill")],
        lambda: [segregated("One Hill"), *ready(100)],
        lambda: ready(100, 200, model=CustodyModel.IDENTITY),
        lambda: [*ready(100), builders.handed_over(builders.released(builders.received()[0]), people.otto_operator())],
    ],
)
def test_the_book_refuses_what_the_planner_says_it_will_and_nothing_else(lots):
    chosen = lots()
    said = planner.mixing_faults(chosen)
    total = [sum(column) for column in zip(*(lot.columns_mg for lot in chosen), strict=True)]
    step = {
        "kind": Kind.MELT,
        "inputs": [Take(lot.number) for lot in chosen],
        "outputs": [Make(Form.MELT, total[0], dict(zip(METALS, total[1:], strict=True)))],
        "at": builders.timezone.now(),
        "by": people.otto_operator(),
    }
    if not said:
        assert record_step(**step).lots
        return
    with pytest.raises(Refusal) as refused:
        record_step(**step)
    assert refused.value.sentence in said.values()


def test_gold_rich_lots_that_cure_it_are_named_with_what_they_would_break():
    (poor,) = ready(300, Au=400_000, Ag=100_000)
    (rich,) = ready(900, Au=990_000)
    (dull,) = ready(100, Au=500_000)
    set_batch(gross_mg=1_000_000)
    page = ask(lot=poor.number, reckon="1").content.decode()
    assert f"Au comes to 65.00 % or more with {rich.number}: no fewer lots do. But then: 1.200 kg is more" in page
    assert "No choice of these lots alone keeps the limits" in page
    both = ask(lot=[poor.number, rich.number], reckon="1").content.decode()
    assert f"Without {poor.number} the others keep every limit, with 0.900 kg" in both
    assert dull.number not in both.split("What would cure it")[1].split("Route advised")[0]


def test_a_batch_too_heavy_says_which_lots_to_leave_out():
    heavy, middle, light = ready(600, 500, 400, Au=900_000, Ag=10_000)
    set_batch(gross_mg=1_000_000)
    answer = ask(lot=[heavy.number, middle.number, light.number], reckon="1")
    assert answer.context["found"].cures == (
        f"Without {middle.number} the others keep every limit, with 1.000 kg: no heavier choice of these lots does.",
    )


def set_batch(gross_mg):
    now = builders.timezone.now()
    set_plant(valid_from=builders.timezone.localdate(now), at=now, by=people.mona_manager(), batch_gross_mg=gross_mg)


def test_of_many_lots_the_proposal_says_how_heavy_a_blend_might_be():
    builders.ready(*[130] * 13, Au=900_000, Ag=10_000)
    proven = ask(propose="1").content.decode()
    assert "No heavier blend of these lots" in proven, "all of them together keep the limits"
    set_batch(gross_mg=1_000_000)
    page = ask(propose="1").content.decode()
    assert "Not proven the largest: no blend of these lots within the limits weighs more than 1\u202f000.000 g" in page


def test_a_lot_in_another_s_hands_says_whose():
    (lot,) = builders.ready(100, by=people.sam_sampler(), where="LAB")
    page = ask(lot=lot.number, reckon="1").content.decode()
    assert "Held by Sam Tarn at LAB Laboratory: a handover comes first." in page


def test_the_proposal_keeps_the_limits_and_leaves_out_what_may_not_mix():
    (rich,) = ready(100, Au=900_000, Ag=50_000)
    (silver,) = ready(50, Au=700_000, Ag=250_000)
    (too_much,) = ready(500, Au=500_000, Ag=450_000)
    (apart,) = ready(900, model=CustodyModel.IDENTITY)
    answer = ask(propose="1")
    assert set(answer.context["found"].blend.lots) == {rich.number, silver.number}
    assert answer.context["found"].broken == ()
    assert set(answer.context["left_out"]) == {apart.number}
    assert too_much.number in listed(answer)


def test_nothing_to_propose_says_so():
    ready(500, Au=500_000, Ag=450_000)
    assert "No blend of these lots keeps" in ask(propose="1").content.decode()
    assert proposal([], planner.settings_on(builders.timezone.localdate())) == ([], Proposal(blend([]), 0), {})


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"scanned": "L-NONE"}, "There is no lot L-NONE"),
        ({"least_gold": "1001"}, "fineness"),
        ({"wanted": "much"}, "wanted fineness"),
        ({"scanned": "A\nA"}, "Name each lot once"),
        ({"owner": "P-99"}, "P-99"),
        ({"older": "9" * 40}, "number of days"),
    ],
)
def test_what_can_not_be_read_is_said_and_kept(query, said):
    builders.refinery()
    answer = ask(**query)
    assert answer.status_code == 200
    assert said in answer.content.decode()
    for value in query.values():
        assert value.splitlines()[0] in answer.content.decode()


def test_planning_records_nothing():
    ready(100)
    before = Operation.objects.count()
    ask(propose="1")
    assert (Operation.objects.count(), RouteOrder.objects.count()) == (before, 0)


def test_the_planner_asks_as_often_for_one_lot_as_for_three():
    lots = [lot.number for lot in builders.ready(100)]

    def asked():
        with CaptureQueriesContext(connection) as queries:
            ask(lot=lots, reckon="1")
        return len(queries)

    asked()
    once = asked()
    lots += [builders.ready(100)[0].number, builders.ready(100)[0].number]
    assert asked() == once


@pytest.mark.parametrize("person", people.EVERYBODY)
def test_staff_reads_the_planner_and_customers_do_not(person):
    builders.refinery()
    assert ask(person).status_code == (403 if person in people.CUSTOMERS else 200)
