"""What a route asks for, against published factors, and conserved over its stages."""

from fractions import Fraction

import periodictable
import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.charge import HYDROCHLORIC, NITRIC, Acid, Practice, SilverWay, charge_of
from custody.calc.refusals import Refused
from custody.calc.route import Step

GRAM = 1000
EXACT = Practice()
DIRECT = (Step.AQUA_REGIA, Step.PRECIPITATE, Step.MELT)
PARTED = (Step.INQUART, Step.PART, *DIRECT)


def lines(steps, fine, practice=EXACT, **more):
    stages = charge_of(steps, fine, practice=practice, **more)
    return {(stage.title, line.what, line.per): line for stage in stages for line in stage.reagents}


@pytest.mark.parametrize(
    ("key", "grams", "ml"),
    [
        # Per 1000 g of metal: recomputed from CIAAW weights with an independent program; volumes of 68 % nitric acid of
        # 1.41 g/mL and 37 % hydrochloric of 1.18 g/mL (from memory), up to the next tenth of a millilitre.
        (("aqua regia", "nitric acid", "Au"), "319.912", "333.7"),
        (("aqua regia", "hydrochloric acid", "Au"), "740.390", "1695.9"),
        (("precipitation of gold", "sodium metabisulfite", "Au"), "723.833", None),
    ],
)
def test_a_kilogram_of_gold(key, grams, ml):
    line = lines(DIRECT, {"Au": 1000 * GRAM})[key]
    assert abs(Fraction(line.mg, GRAM) - Fraction(grams)) <= Fraction(1, 1000)
    assert line.volume_ul == (None if ml is None else Fraction(ml) * 1000)


def test_a_kilogram_of_silver_parted_and_recovered_either_way():
    """Factors recomputed from CIAAW weights with an independent program; 812 mL of 68 % acid a kilogram."""
    parted = lines(PARTED, {"Ag": 1000 * GRAM})
    assert parted["nitric parting", "nitric acid", "Ag"].mg == pytest.approx(778_876, abs=1)
    assert parted["nitric parting", "nitric acid", "Ag"].volume_ul == 812_400
    assert parted["recovery of silver", "salt", "Ag"].mg == pytest.approx(541_770, abs=1)
    assert parted["recovery of silver", "caustic soda", "AgCl"].mg == pytest.approx(370_793, abs=1)
    assert parted["recovery of silver", "caustic soda", "AgCl"].per_mg == pytest.approx(1_328_642, abs=1)
    assert parted["recovery of silver", "glucose", "Ag"].mg == pytest.approx(835_075, abs=1)
    cemented = lines(PARTED, {"Ag": 1000 * GRAM}, Practice(silver_way=SilverWay.COPPER))
    assert cemented["recovery of silver", "copper", "Ag"].mg == pytest.approx(294_554, abs=1)
    iron = cemented["recovery of copper", "iron", "Cu"]
    assert (iron.per_mg, iron.mg) == (pytest.approx(294_554, abs=1), pytest.approx(258_858, abs=1))


def test_copper_and_silver_that_were_not_parted_take_aqua_regia_too():
    """By a periodic-table package: 3 Cu take 6 HCl and 2 HNO3, 3 Ag take 3 HCl and 1 HNO3."""
    mass = {name: periodictable.formula(name).mass for name in ("Cu", "Ag", "HCl", "HNO3")}
    found = lines(DIRECT, {"Au": GRAM, "Cu": 1000 * GRAM, "Ag": 1000 * GRAM})
    for metal, acid, of, ratio in (
        ("Cu", "hydrochloric acid", "HCl", 2),
        ("Cu", "nitric acid", "HNO3", 2 / 3),
        ("Ag", "hydrochloric acid", "HCl", 1),
        ("Ag", "nitric acid", "HNO3", 1 / 3),
    ):
        assert found["aqua regia", acid, metal].mg == pytest.approx(1e6 * ratio * mass[of] / mass[metal], rel=5e-5)
    parted = lines((Step.PART, *DIRECT), {"Au": GRAM, "Cu": GRAM, "Ag": GRAM})
    assert ("aqua regia", "nitric acid", "Cu") not in parted, "what was parted is gone"


def test_platinum_and_palladium_of_a_route_are_dissolved_and_won_back():
    """By a periodic-table package. The factors of gravimetric analysis (from memory): platinum is 0.4395 of its
    ammonium salt, palladium 0.3161 of its glyoxime."""
    mass = {name: periodictable.formula(name).mass for name in ("Pt", "Pd", "HCl", "HNO3", "NH4Cl", "C4H8N2O2")}
    found = lines(DIRECT, {"Au": GRAM, "Pt": 1000 * GRAM, "Pd": 1000 * GRAM})
    for stage, what, of, metal, moles in (
        ("aqua regia", "hydrochloric acid", "HCl", "Pt", 6),
        ("aqua regia", "nitric acid", "HNO3", "Pt", 4 / 3),
        ("aqua regia", "hydrochloric acid", "HCl", "Pd", 4),
        ("aqua regia", "nitric acid", "HNO3", "Pd", 2 / 3),
        ("recovery of platinum and palladium", "ammonium chloride", "NH4Cl", "Pt", 2),
        ("recovery of platinum and palladium", "dimethylglyoxime", "C4H8N2O2", "Pd", 2),
    ):
        assert found[stage, what, metal].mg == pytest.approx(1e6 * moles * mass[of] / mass[metal], rel=5e-6)
    assert mass["Pt"] / periodictable.formula("(NH4)2PtCl6").mass == pytest.approx(0.4395, abs=5e-5)
    assert mass["Pd"] / periodictable.formula("Pd(C4H7N2O2)2").mass == pytest.approx(0.3161, abs=5e-5)


def test_parted_palladium_is_in_the_nitrate_and_falls_with_silver_on_copper():
    fine = {"Au": GRAM, "Ag": GRAM, "Pt": GRAM, "Pd": GRAM}
    found = lines(PARTED, fine)
    assert ("aqua regia", "nitric acid", "Pd") not in found
    assert found["nitric parting", "nitric acid", "Pd"].mg == pytest.approx(1579, abs=1)
    assert "Pd(NO3)2" in found["recovery of platinum and palladium", "dimethylglyoxime", "Pd"].equation
    assert ("aqua regia", "hydrochloric acid", "Pt") in found
    cemented = lines(PARTED, fine, Practice(silver_way=SilverWay.COPPER))
    assert ("recovery of platinum and palladium", "dimethylglyoxime", "Pd") not in cemented
    assert cemented["recovery of silver", "copper", "Pd"].mg == pytest.approx(597, abs=1)


def test_a_stage_of_platinum_says_its_cautions_and_only_then():
    stages = charge_of(DIRECT, {"Au": GRAM, "Pt": 1})
    assert [one.title for stage in stages for one in stage.cautions] == ["platinum salts and ammonium chloride"]
    assert not [one for stage in charge_of(DIRECT, {"Au": GRAM}) for one in stage.cautions]


#: One factor each as the handbooks' equations give it; C20, C21 and the table of reactions of the trade's facts.
PUBLISHED = {
    # Copper on iron, 0.8788 g a gram, and silver on copper, 3.395 g a gram: common practice, by CIAAW weights.
    ("recovery of silver", "copper", "Ag"): 0.294554,
    ("recovery of copper", "iron", "Cu"): 0.878812,
    ("recovery of silver", "caustic soda", "AgCl"): 0.279077,
    ("recovery of silver", "glucose", "Ag"): 0.835075,
    ("precipitation of gold", "sodium metabisulfite", "Au"): 0.723833,
}


@pytest.mark.parametrize("key", PUBLISHED, ids=lambda key: key[1])
def test_each_reagent_by_its_factor(key):
    ways = [lines(PARTED, {"Au": GRAM, "Ag": GRAM, "Cu": GRAM}, Practice(silver_way=way)) for way in SilverWay]
    line = next(found[key] for found in ways if key in found and found[key].factor)
    assert float(line.factor) == pytest.approx(PUBLISHED[key], abs=1e-6)


def test_an_acid_on_several_lines_is_summed():
    stage = charge_of(DIRECT, {"Au": 1000 * GRAM, "Cu": 1000 * GRAM})[0]
    lines_of = [line for line in stage.reagents if line.what == "nitric acid"]
    (what, mg, ml), _ = stage.together
    assert (what, mg) == ("nitric acid", sum(line.mg for line in lines_of))
    assert Fraction(ml.replace("\u202f", "")) * 1000 == sum(line.volume_ul for line in lines_of)
    assert not charge_of(DIRECT, {"Au": GRAM})[0].together


def test_the_plant_s_excess_is_on_top_and_said():
    line = lines(DIRECT, {"Au": 1000 * GRAM}, Practice(excess_ppm={"Na2S2O5": 500_000}))[
        "precipitation of gold", "sodium metabisulfite", "Au"
    ]
    assert (line.excess_ppm, line.factor) == (500_000, "0.723833")
    assert line.mg == pytest.approx(1_085_750, abs=1)


def test_silver_for_inquartation_is_parted_with_the_rest():
    found = lines(PARTED, {"Au": GRAM, "Ag": GRAM}, silver_added_mg=2 * GRAM)
    assert found["nitric parting", "nitric acid", "Ag"].per_mg == 3 * GRAM


def test_a_cell_says_how_many_ampere_hours():
    """408.214 Ah a kilogram of gold, 248.465 of silver: CODATA and CIAAW, by an independent program."""
    fine = {"Au": 1000 * GRAM, "Ag": 1000 * GRAM}
    gold, silver = charge_of((Step.GOLD_CELL, Step.SILVER_CELL), fine)
    assert "409 Ah" in gold.note
    assert "249 Ah" in silver.note


@given(st.integers(0, 10**7), st.integers(1, 1_000_000), st.integers(500, 2000))
def test_an_acid_s_volume_is_never_too_little(pure_mg, strength, density):
    found = Acid(strength, density).volume_ul(pure_mg)
    assert Fraction(found, 1000) * density * strength >= pure_mg * 1_000_000
    assert found == 0 or Fraction(found - 100, 1000) * density * strength < pure_mg * 1_000_000


@pytest.mark.parametrize(
    "call",
    [lambda: charge_of(DIRECT, {"Au": -1}), lambda: Acid(0, 1), lambda: Acid(1_000_001, 1), lambda: Acid(1, 0)],
)
def test_refusals_name_their_field(call):
    with pytest.raises(Refused) as caught:
        call()
    assert caught.value.field


def test_stock_acids_hold_what_tables_print():
    """0.9588 g of nitric and 0.4366 g of hydrochloric acid a millilitre, both from memory."""
    assert NITRIC.volume_ul(958_800) == 1_000_000
    assert HYDROCHLORIC.volume_ul(436_600) == 1_000_000
