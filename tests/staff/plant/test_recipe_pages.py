"""Each step's own page: what it lays out, weighs, proposes, offers and refuses."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.routes import order_route
from custody.actions.work import ForOrder, Make, Take, record_step, reverse
from custody.calc.recipes import RECIPES
from custody.calc.route import Step
from custody.models import Lot, Operation, RouteOrderWork, Run, Weighing
from custody.queries import planner
from custody.queries.route_work import progress_of
from custody.staff.plant.addresses import own_page, slug_of
from custody.terms import Form, Kind, Purpose
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db

MELT = "/plant/step/melt/"


def otto():
    return people.signed_in(people.otto_operator())


def melting(lot, **changes):
    """A kilogram of doré, weighed as it comes out of the furnace: 1,099.9 g with the pot that weighs 100 g."""
    rows = {
        "in": [{"lot": lot.number}],
        "out": [{"form": "melt", "scale": "BENCH-2", "gross": "1099.9", "tare": "100", "Au": "799.9", "Ag": "150"}],
        "loss": [{"cause": "fume", "gross": "0.1", "Au": "0.1"}],
    }
    return body(rows={"add": []} | rows | changes.pop("rows", {}), **changes)


@pytest.mark.parametrize("kind", [kind for kind in RECIPES if not own_page(kind)])
def test_every_step_has_a_page_of_its_own_with_its_lines_laid_out(kind):
    recipe = RECIPES[kind]
    answer = otto().get(f"/plant/step/{slug_of(kind)}/")
    page = answer.content.decode()
    assert f"<h1>{recipe.title}" in page
    assert recipe.sentence.replace("'", "&#x27;") in page
    laid = [row["form"].value() for row in answer.context["row_sets"][-2].forms if row.initial]
    assert laid == [out.form.value for out in recipe.makes]
    assert "What is usual" in page


def test_only_metals_that_a_product_holds_stand_open():
    answer = otto().get("/plant/step/part/")
    residue, solution = answer.context["row_sets"][2].forms[:2]
    assert {"Ag", "Cu", "Pd"} <= set(residue.folded)
    assert "Au" not in residue.folded
    assert "Au" in solution.folded
    (lot,) = builders.ready(Au=800_000, Ag=100_000, Pt=10_000)
    with_platinum = otto().get("/plant/step/part/", {"lot": lot.number}).context["row_sets"][2].forms[0]
    assert "Pt" not in with_platinum.folded


def test_what_comes_out_is_what_its_scale_says_and_the_weighing_is_kept():
    (lot,) = builders.ready()
    builders.scale()
    number = sent(otto(), MELT, melting(lot))
    (made,) = Lot.objects.filter(created_by__number=number)
    assert made.gross_mg == 999_900
    weighing = Weighing.objects.get(lot=made)
    assert (weighing.gross_mg, weighing.tare_mg, weighing.purpose) == (1_099_900, 100_000, Purpose.AFTER_MELT)
    assert weighing.operation.number == number


def test_what_was_not_weighed_says_how_its_weight_is_known():
    (lot,) = builders.ready()
    bare = melting(lot) | {"out-0-scale": "", "out-0-tare": "", "out-0-gross": "999.9"}
    answer = otto().post(MELT, bare)
    assert "Weigh every lot out" in faults(answer)
    sent(otto(), MELT, bare | {"reason": "From the furnace book"})
    assert not Weighing.objects.filter(operation__kind="melt").exists()


@pytest.mark.parametrize(
    ("field", "typed", "sentence"),
    [
        ("out-0-tare", "2000", "not less than the gross"),
        ("out-0-tare", "1,5", "has a comma"),
        ("out-0-scale", "NONE", "Select a valid choice"),
        ("out-0-scale", "", "choose the scale"),
        ("out-0-gross", "7000", "Use another scale"),
        ("order", "RO-1|aqua regia", "Select a valid choice"),
        ("in-0-gross", "1e400", "exponent"),
    ],
)
def test_bad_input(field, typed, sentence):
    (lot,) = builders.ready()
    builders.scale()
    answer = otto().post(MELT, melting(lot) | {field: typed})
    assert answer.status_code == 200
    assert any(part in faults(answer) for part in sentence.split("|")), faults(answer)
    assert not Operation.objects.filter(kind=Kind.MELT).exists()


def test_a_scale_that_was_not_checked_today_weighs_nothing():
    (lot,) = builders.ready()
    builders.scale("FLOOR-1", checked=False)
    answer = otto().post(MELT, melting(lot) | {"out-0-scale": "FLOOR-1"})
    assert "checked" in faults(answer)
    assert not Operation.objects.filter(kind=Kind.MELT).exists()


def test_a_lot_in_is_weighed_again_and_a_difference_is_told():
    (lot,) = builders.ready()
    builders.scale()
    light = {"in-0-scale": "BENCH-2", "in-0-gross": "998"}
    answer = otto().post("/plant/step/granulate/", melting(lot) | light | {"out-0-form": "granules"})
    assert "weighs 2.000 g less than the book" in faults(answer)
    both = light | {"in-0-part": "500"}
    assert "A whole lot is weighed again" in faults(otto().post(MELT, melting(lot) | both))
    right = melting(lot) | {"in-0-scale": "BENCH-2", "in-0-gross": "1000"}
    number = sent(otto(), MELT, right)
    assert Weighing.objects.get(lot=lot, operation__number=number).purpose == Purpose.BEFORE_MELT


def test_metals_are_proposed_from_the_book_and_what_was_typed_stays():
    (lot,) = builders.ready(Au=300_000, Ag=600_000)
    builders.scale()
    rows = {
        "out": [
            {"form": "residue", "scale": "BENCH-2", "gross": "302"},
            {"form": "solution", "scale": "", "gross": "2600"},
        ],
        "loss": [],
    }
    asked = melting(lot, rows=rows) | {"offer": "1"}
    page = otto().post("/plant/step/part/", asked)
    residue, solution = page.context["row_sets"][2].forms[:2]
    assert (residue["Au"].value(), residue["Ag"].value()) == ("300.000", "")
    assert (solution["Au"].value(), solution["Ag"].value()) == ("", "600.000")
    kept = otto().post("/plant/step/part/", asked | {"out-0-Au": "299.5"})
    residue, solution = kept.context["row_sets"][2].forms[:2]
    assert residue["Au"].value() == "299.5"
    assert not Operation.objects.filter(kind=Kind.PART).exists()


def test_fitting_lots_are_offered_and_one_button_takes_them():
    one, two = builders.ready(1000, 500)
    client = otto()
    page = client.get(MELT)
    assert [fit.value for fit in page.context["fits"]] == [one.number, two.number]
    taken = client.post(MELT, melting(one) | {"take": two.number})
    assert [row["lot"].value() for row in taken.context["row_sets"][0].forms] == [one.number, two.number]
    assert [fit.value for fit in taken.context["fits"]] == []
    assert "1099.9" in taken.content.decode()
    assert client.get("/plant/step/cement-silver/").context["fits"] == []


def test_a_lot_on_which_a_step_can_not_be_done_is_refused_and_an_unusual_one_is_told():
    (lot,) = builders.ready()
    made = record_step(
        kind=Kind.DISSOLVE, inputs=[Take(lot.number)], at=timezone.now(), by=people.otto_operator(),
        outputs=[Make(Form.SOLUTION, 1_000_000, {"Au": 800_000, "Ag": 150_000})],
    )  # fmt: skip
    solution = builders.fresh(made.lots[0])
    builders.scale()
    answer = otto().post(MELT, melting(solution))
    assert f"Lot in 1: Lot {solution.number} is solution: this step (melt) can&#x27;t be done with it" in faults(answer)
    (slag,) = builders.ready()
    page = otto().get("/plant/step/wash/", {"lot": slag.number}).content.decode()
    assert f"Lot {slag.number} is doré: not what this step usually takes" in page


def test_inquartation_reckons_the_silver_and_takes_it_from_a_lot_at_hand():
    (gold,) = builders.ready(1000, Au=600_000, Ag=300_000)
    (silver,) = builders.ready(2000, Ag=999_000)
    client = otto()
    page = client.get("/plant/step/inquart/", {"lot": gold.number})
    # Gold a quarter of all metal: 600 g want 1,800 g of other metal, of which 300 g are there.
    assert page.context["silver"].wanted_mg == 1_500_000
    assert "1\u202f500.000" in page.content.decode()
    (offer,) = page.context["silver"].lots
    assert offer.value == f"{silver.number}|1501.502"
    taken = client.post("/plant/step/inquart/", melting(gold) | {"take": offer.value})
    assert taken.context["row_sets"][0].forms[1]["part"].value() == "1501.502"
    assert taken.context["silver"].wanted_mg == 0
    assert "enough" in taken.content.decode()


# Work on an order


def ordered(*lots, steps=(Step.AQUA_REGIA, Step.PRECIPITATE, Step.MELT)):
    return order_route(
        lots=[lot.number for lot in lots], steps=steps, wanted_ppm=999_500, at=timezone.now(),
        by=people.otto_operator(), note="As agreed with the owner",
    )  # fmt: skip


def rich():
    return builders.ready(1000, Au=900_000, Ag=50_000, Cu=40_000)


def dissolving(lot, **changes):
    rows = {
        "in": [{"lot": lot.number}],
        "add": [{"what": "acid", "gross": "4000"}],
        "out": [{"form": "solution", "gross": "5000", "Au": "900", "Ag": "50", "Cu": "40"}],
        "loss": [],
    }
    return body(rows=rows, **changes)


def test_a_lot_of_an_order_has_it_chosen_beforehand_and_the_work_is_kept():
    (lot,) = rich()
    order = ordered(lot)
    page = otto().get("/plant/step/dissolve/", {"lot": lot.number})
    chosen = page.context["form"]["order"].value()
    assert chosen == f"{order.number}|aqua regia"
    assert otto().get("/plant/step/precipitate/", {"order": order.number}).context["form"]["order"].value() == (
        f"{order.number}|precipitation of gold"
    )
    assert otto().get("/plant/step/cement-copper/", {"lot": lot.number}).context["form"]["order"].value() == ""
    number = sent(otto(), "/plant/step/dissolve/", dissolving(lot, order=chosen))
    work = RouteOrderWork.objects.get()
    assert (work.order, work.station, work.operation.number) == (order, "aqua regia", number)
    # Its product is the order's, too.
    (made,) = Lot.objects.filter(created_by__number=number)
    following = otto().get("/plant/step/precipitate/", {"lot": made.number})
    assert following.context["form"]["order"].value() == f"{order.number}|precipitation of gold"


def test_an_order_says_what_was_done_what_it_made_and_what_comes_next():
    (lot,) = rich()
    order = ordered(lot)
    address = f"/plant/orders/{order.number}/"
    first = otto().get(address).content.decode()
    assert "Next is aqua regia." in first
    assert f"/plant/step/dissolve/?lot={lot.number}&amp;order={order.number}" in first
    number = sent(otto(), "/plant/step/dissolve/", dissolving(lot, order=f"{order.number}|aqua regia"))
    (made,) = Lot.objects.filter(created_by__number=number)
    page = otto().get(address).content.decode()
    assert "Next is precipitation of gold." in page
    assert number in page
    assert made.number in page
    assert f"/plant/step/precipitate/?lot={made.number}&amp;order={order.number}" in page
    assert "aqua regia, then precipitation of gold" in otto().get("/plant/").content.decode()
    (standing,) = planner.open_orders(people.otto_operator())
    assert planner.standing_of(standing).word == "begun", "its lot is used up, its stations are not"


def test_a_run_on_an_order_is_led_to_and_its_products_are_the_orders():
    (lot,) = rich()
    order = ordered(lot)
    builders.place("VESSEL-1")
    address = f"/plant/orders/{order.number}/"
    asked = f"/plant/charge/?lot={lot.number}&amp;step=dissolve&amp;order={order.number}"
    assert asked in otto().get(address).content.decode()
    charge_vessel = body(
        rows={"in": [{"lot": lot.number}], "add": [{"what": "acid", "gross": "4000"}]},
        vessel=builders.place("VESSEL-1").pk, step="dissolve", order=f"{order.number}|aqua regia",
    )  # fmt: skip
    sent(otto(), "/plant/charge/", charge_vessel)
    (run,) = Run.objects.all()
    assert f"/plant/run/{run.number}/" in otto().get(address).content.decode()


def test_the_last_station_closes_an_order_and_a_reversal_opens_it_again():
    (lot,) = rich()
    order = ordered(lot, steps=[Step.MELT])
    done = record_step(
        kind=Kind.MELT, inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, 1_000_000, dict(zip(("Au", "Ag", "Cu"), (900_000, 50_000, 40_000), strict=True)))],
        at=timezone.now(), by=people.otto_operator(), for_order=ForOrder(order, str(Step.MELT)),
    )  # fmt: skip
    viewer = people.otto_operator()
    assert not planner.open_orders(viewer)
    assert planner.standing_of(planner.orders(viewer).get()).word == "worked"
    melt = Operation.objects.get(pk=done.id)
    reverse(operation=melt, reason="Wrong lot", at=timezone.now(), by=people.mona_manager())
    (again,) = planner.open_orders(viewer)
    assert progress_of(again).words == "to begin: melt and cast"


def test_the_form_that_finished_an_order_is_recorded_once():
    (lot,) = builders.ready()
    order = ordered(lot, steps=[Step.MELT])
    builders.scale()
    data = melting(lot, order=f"{order.number}|melt and cast")
    client = otto()
    assert sent(client, MELT, data) == sent(client, MELT, data)
    assert RouteOrderWork.objects.count() == 1
    assert not planner.open_orders(people.otto_operator())


def test_a_station_that_the_order_lacks_is_no_choice():
    (lot,) = rich()
    order = ordered(lot)
    answer = otto().post("/plant/step/dissolve/", dissolving(lot, order=f"{order.number}|gold electrolysis"))
    assert "Select a valid choice" in faults(answer)
    assert not RouteOrderWork.objects.exists()


def queries_of(address, **asked):
    client = otto()
    client.get(address, asked)
    with CaptureQueriesContext(connection) as found:
        client.get(address, asked)
    return len(found)


def test_as_many_queries_for_three_lots_and_orders_as_for_one():
    lots = [rich()[0]]
    ordered(lots[0])
    step, order = "/plant/step/dissolve/", "/plant/orders/"
    once = queries_of(step, lot=lots[0].number), queries_of(order)
    for _ in range(2):
        (more,) = rich()
        lots.append(more)
        ordered(more)
    assert (queries_of(step, lot=[lot.number for lot in lots]), queries_of(order)) == once


def test_steps_with_a_page_of_their_own_are_led_to_with_the_lots():
    client = otto()
    assert client.get("/plant/step/roll/", {"lot": "L-1"}).url == "/plant/bars/roll/?lot=L-1"
    assert client.get("/plant/step/stamp/").url == "/plant/bars/stamp/"
    assert client.get("/plant/step/clean-out/").url == "/plant/clean-out/"
    assert client.get("/plant/step/discharge/", {"lot": "L-1"}).url == "/plant/water/L-1/"
    assert client.get("/plant/step/discharge/").url == "/plant/water/"


def test_scanned_lots_say_which_steps_fit_first():
    (lot,) = builders.ready()
    page = otto().get("/plant/step/", {"lot": lot.number})
    assert page.context["fitting"].title == "Usual for doré"
    assert [action.label for action in page.context["fitting"].actions][:2] == ["Melt", "Granulate"]
    assert otto().get("/plant/step/").context["fitting"] is None
