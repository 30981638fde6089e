"""What a run asks for and comes to: reagents by published factors, yields and losses at their limits."""

import pytest

from custody.calc.rules import rule_for
from custody.calc.runs import follows, losing_of, outlook_of, reagents_of
from custody.terms import METALS, Form, Kind

FINE = {"Au": 100_000, "Ag": 100_000, "Cu": 100_000}


@pytest.mark.parametrize(
    ("step", "forms", "reagent", "mg"),
    [
        # Factor of the equation (CIAAW conventional atomic weights) × 100 g, rounded up.
        (Kind.PRECIPITATE, (), "sodium metabisulfite", 72_384),
        (Kind.CEMENT_COPPER, (), "iron", 87_882),
        (Kind.CEMENT_SILVER, (), "salt", 54_178),
        (Kind.CEMENT_SILVER, (Form.SILVER_CHLORIDE,), "glucose", 83_508),
    ],
)  # fmt: skip
def test_reagents_of_a_hundred_grams(step, forms, reagent, mg):
    found = {one.what: one.mg for one in reagents_of(step, FINE, forms=forms)}
    assert abs(found[reagent] - mg) <= 5


def test_chloride_needs_no_salt_and_the_meter_says_the_rest():
    assert "salt" not in {one.what for one in reagents_of(Kind.CEMENT_SILVER, FINE, forms=[Form.SILVER_CHLORIDE])}
    for step in (Kind.NEUTRALISE, Kind.WASH, Kind.DRY, Kind.FILTER):
        assert reagents_of(step, FINE) == ()
    assert reagents_of(Kind.CEMENT_SILVER, {"Au": 5}) == ()
    assert all(one.volume_ul for one in reagents_of(Kind.DISSOLVE, {"Au": 5_000}))


def columns(gross, **metals):
    return (gross, *(metals.get(metal, 0) for metal in METALS))


@pytest.mark.parametrize(("made", "reached"), [(995_000, True), (994_999, False), (0, False)])
def test_the_least_yield_is_met_exactly(made, reached):
    """99.5 % of a kilogram are 995 g."""
    found = outlook_of(rule_for(Kind.PRECIPITATE), columns(9_000_000, Au=1_000_000), columns(made, Au=made))
    assert (found.least_mg, found.reached, found.yield_ppm) == (995_000, reached, made)


def test_nothing_is_expected_of_nothing():
    assert outlook_of(rule_for(Kind.PRECIPITATE), columns(5), columns(0)) is None
    assert outlook_of(rule_for(Kind.DISSOLVE), columns(5, Au=5), columns(0)) is None


@pytest.mark.parametrize(
    ("held", "words"),
    [(500, "nothing more"), (501, "a reason"), (2_000, "a reason"), (2_001, "a reason, signed")],
)
def test_losses_within_the_band_and_past_it(held, words):
    """Of a kilogram of gold 0.05 % are 500 mg and 0.2 % are 2 g."""
    (gold,) = losing_of(rule_for(Kind.PRECIPITATE), columns(9_000_000, Au=1_000_000), columns(held, Au=held))
    assert (gold.band_mg, gold.tolerance_mg, gold.words) == (500, 2_000, words)


def test_liquor_goes_on():
    assert [follows(step) for step in (Kind.DISSOLVE, Kind.FILTER, Kind.NEUTRALISE, Kind.DRY)] == [
        Kind.FILTER, Kind.PRECIPITATE, Kind.NEUTRALISE, Kind.NEUTRALISE,
    ]  # fmt: skip
