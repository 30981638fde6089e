"""Reagents and deposits against a periodic-table package, and against published figures."""

from fractions import Fraction

import periodictable
import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc import chemistry
from custody.calc.chemistry import Reaction, deposited_mg, molar_mass, needed_mg
from custody.calc.refusals import Refused

REACTIONS = [value for value in vars(chemistry).values() if isinstance(value, Reaction)]


@pytest.mark.parametrize("formula", sorted({formula for reaction in REACTIONS for formula in reaction.moles}))
def test_molar_masses_are_those_of_a_periodic_table(formula):
    """periodictable 2 carries the conventional atomic weights of the CIAAW."""
    assert abs(molar_mass(formula) - Fraction(periodictable.formula(formula).mass)) < Fraction(1, 100_000)


@pytest.mark.parametrize("reaction", REACTIONS, ids=lambda one: one.equation)
def test_equations_balance_by_a_periodic_table(reaction):
    """Mass on the left and on the right, by another program's reading of the formulas."""
    sides = [0.0, 0.0]
    for side, written in enumerate(reaction.equation.split(" = ")):
        for term in written.split(" + "):
            moles, _, formula = term.rpartition(" ")
            sides[side] += int(moles or 1) * periodictable.formula(formula).mass
    assert sides[0] == pytest.approx(sides[1], rel=1e-9)


@pytest.mark.parametrize(
    ("reaction", "of", "per", "grams"),
    [
        # Recomputed from CIAAW atomic weights with an independent program.
        (chemistry.METABISULFITE, "Na2S2O5", "Au", "0.723833"),
        (chemistry.SULFUR_DIOXIDE, "SO2", "Au", "0.487834"),
        (chemistry.AQUA_REGIA, "HNO3", "Au", "0.319912"),
        (chemistry.AQUA_REGIA, "HCl", "Au", "0.740390"),
        (chemistry.AQUA_REGIA, "NO", "Au", "0.152341"),
        (chemistry.PARTING_SILVER, "HNO3", "Ag", "0.778876"),
        (chemistry.PARTING_COPPER, "HNO3", "Cu", "2.644258"),
        (chemistry.SILVER_OXIDE, "NaOH", "AgCl", "0.279077"),
        (chemistry.GLUCOSE, "C6H12O6", "Ag", "0.835075"),
        (chemistry.CEMENT_BY_COPPER, "Cu", "Ag", "0.294554"),
        (chemistry.CEMENT_BY_IRON, "Fe", "Cu", "0.878812"),
    ],
)
def test_factors(reaction, of, per, grams):
    found = reaction.per_gram(of, per)
    assert abs(found - Fraction(grams)) < Fraction(1, 1_000_000)


def test_silver_in_its_chloride_by_the_handbook():
    """Beringer, p. 118: 75.27 per cent, by the atomic weights of his day."""
    assert abs(molar_mass("Ag") / molar_mass("AgCl") - Fraction("0.7527")) < Fraction(1, 10_000)


@pytest.mark.parametrize(
    ("metal", "grams"), [("Ag", "4.024710"), ("Au", "2.449698"), ("Cu", "1.185494")], ids=["Ag", "Au", "Cu"]
)
def test_deposit_of_an_ampere_hour(metal, grams):
    """Grams an ampere-hour, from CODATA's Faraday constant and CIAAW weights by an independent program."""
    assert abs(deposited_mg(metal, 1000) / 1000 - Fraction(grams)) < Fraction(1, 1_000_000)


def test_a_day_of_silver():
    """100 A for 24 hours at 95 per cent: 9 176.34 g of silver."""
    mg = deposited_mg("Ag", 100 * 24 * 1000, efficiency_ppm=950_000)
    assert abs(mg - 9_176_340) < 10


@given(st.integers(0, 10**9), st.integers(0, 10**6))
def test_needed_is_never_too_little_and_never_a_milligram_too_much(mg, excess):
    factor = chemistry.METABISULFITE.per_gram("Na2S2O5", "Au")
    exact = mg * factor * (1_000_000 + excess) / 1_000_000
    assert exact <= needed_mg(mg, factor, excess_ppm=excess) < exact + 1


@pytest.mark.parametrize(
    "equation", ["2 AgNO3 + Cu = Ag + Cu(NO3)2", "AgNO3 = AgNO2", "Ag + Xx = AgXx", "Ag + = Ag", "ag = ag", "Ag = 2 Ag"]
)
def test_what_does_not_balance_is_refused(equation):
    with pytest.raises(Refused):
        Reaction("nonsense", equation)


@pytest.mark.parametrize(
    "call",
    [
        lambda: deposited_mg("Fe", 1),
        lambda: deposited_mg("Ag", -1),
        lambda: deposited_mg("Ag", 1, efficiency_ppm=1_000_001),
        lambda: needed_mg(-1, Fraction(1)),
        lambda: chemistry.GLUCOSE.per_gram("Au", "Ag"),
    ],
)
def test_refusals_name_their_field(call):
    with pytest.raises(Refused) as caught:
        call()
    assert caught.value.field
