"""The table of recipes, and metals proposed from the book."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.recipes import RECIPES, Out, Product, fitting, proposed_mg, recipe_for, stations_of
from custody.calc.route import STATIONS, Step
from custody.calc.rules import rule_for
from custody.terms import METALS, Cause, Form, Kind

NONE = (0,) * 5


@pytest.mark.parametrize("recipe", RECIPES.values(), ids=RECIPES)
def test_a_recipe_lays_out_only_what_its_rule_lets_it_do(recipe):
    rule = rule_for(recipe.kind)
    assert set(recipe.adds) <= set(rule.additions)
    assert set(recipe.loses) <= set(rule.causes)
    assert not set(recipe.takes) & recipe.never
    assert Form.IN_PROCESS not in recipe.takes
    assert set(map(str, recipe.stations)) <= set(map(str, STATIONS))


def test_metal_is_proposed_as_lost_with_water_only_where_assayed_water_leaves():
    assert [recipe.kind for recipe in RECIPES.values() if Cause.EFFLUENT in recipe.loses] == [Kind.DISCHARGE]


@pytest.mark.parametrize("recipe", RECIPES.values(), ids=RECIPES)
def test_the_product_whose_yield_is_watched_is_laid_out(recipe):
    rule = rule_for(recipe.kind)
    if rule.least_yield_ppm:
        assert any(out.form in rule.product_forms and rule.product_metal in out.holds for out in recipe.makes)


def test_every_station_of_a_route_has_a_step_that_works_it():
    worked = {station for kind in RECIPES for station in stations_of(kind)}
    assert worked == {str(station) for station in STATIONS}


def test_what_was_scanned_says_which_steps_fit():
    assert {Kind.ROLL, Kind.PUNCH} <= set(fitting({Form.STRIP}))
    assert Kind.CEMENT_SILVER in fitting({Form.SILVER_CHLORIDE})
    assert Kind.ROLL not in fitting({Form.SILVER_CHLORIDE})
    assert fitting({Form.BLANK, Form.SILVER_CHLORIDE}) == []
    assert fitting(set()) == []


def of(kind, going_in, *products, lost=NONE):
    return proposed_mg(recipe_for(kind), going_in, lost, products)


def test_parting_leaves_gold_in_the_residue_and_silver_in_the_liquor():
    found = of(
        Kind.PART, (1_000_000, 240_000, 700_000, 1_000, 500, 50_000),
        Product(Form.RESIDUE, 245_000), Product(Form.SOLUTION, 3_000_000),
    )  # fmt: skip
    assert found == [(240_000, 0, 1_000, 0, 0), (0, 700_000, 0, 500, 50_000)]


def test_silver_chloride_holds_silver_by_its_formula_and_no_more():
    (chloride, liquor) = of(
        Kind.FILTER, (2_000_000, 800_000, 150_000, 0, 0, 0),
        Product(Form.SILVER_CHLORIDE, 199_000), Product(Form.SOLUTION, 1_800_000),
    )  # fmt: skip
    # 199 g of AgCl, of which 107.8682 / 143.3182 is silver: 149.777 g.
    assert chloride == (0, 149_777, 0, 0, 0)
    assert liquor == (800_000, 0, 0, 0, 0)


def test_a_melt_takes_what_the_losses_leave_and_its_slag_nothing():
    (melt, slag) = of(
        Kind.MELT, (1_000_000, 800_000, 150_000, 0, 0, 0),
        Product(Form.MELT, 999_000), Product(Form.SLAG, 900), lost=(100, 0, 0, 0, 0),
    )  # fmt: skip
    assert (melt, slag) == ((799_900, 150_000, 0, 0, 0), NONE)


def test_what_was_named_stays_and_the_others_share_the_rest_by_weight():
    found = of(
        Kind.PUNCH, (1_000_000, 999_900, 0, 0, 0, 0),
        Product(Form.BLANK, 500_000, (500_000, 0, 0, 0, 0)),
        Product(Form.BLANK, 300_000), Product(Form.SKELETON, 200_000),
    )  # fmt: skip
    assert found == [(500_000, 0, 0, 0, 0), (299_940, 0, 0, 0, 0), (199_960, 0, 0, 0, 0)]


amounts = st.integers(0, 10**7)


@given(
    kind=st.sampled_from(list(RECIPES)),
    metals=st.tuples(*[amounts] * 5),
    lost=st.tuples(*[st.integers(0, 1000)] * 5),
    products=st.lists(st.tuples(st.sampled_from(list(Form)), st.integers(1, 10**7)), max_size=5),
)
def test_never_more_than_is_there_nor_than_a_product_weighs(kind, metals, lost, products):
    made = [Product(form, gross) for form, gross in products if form is not Form.IN_PROCESS]
    found = proposed_mg(recipe_for(kind), (sum(metals) + 5, *metals), lost, made)
    assert len(found) == len(made)
    for product, given_mg in zip(made, found, strict=True):
        assert min(given_mg) >= 0
        assert sum(given_mg) <= product.gross_mg
    for place in range(len(METALS)):
        assert sum(one[place] for one in found) <= max(metals[place] - lost[place], 0)


def test_an_unusual_form_may_hold_whatever_the_step_moves():
    assert recipe_for(Kind.PART).shown(Form.OTHER) == ("Au", "Ag", "Pt", "Pd", "Cu")
    assert Out(Form.MELT).holds == METALS
    assert str(Step.PART) in stations_of(Kind.PART)
