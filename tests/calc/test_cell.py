"""Cells: Faraday's law against published equivalents and a general-purpose table, and the efficiency that is found."""

from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from periodictable import elements

from custody.calc.cell import Cell, Current, Weighed, judge
from custody.calc.chemistry import deposited_mg

BEGAN = datetime(2026, 3, 2, 8, tzinfo=UTC)
HOUR = timedelta(hours=1)


def after(hours):
    return BEGAN + hours * HOUR


def current(since, until, amperes=100, volts=None):
    return Current(after(since), after(until), amperes * 1000, None if volts is None else int(volts * 1000))


def cell(*currents, metal="Au", **more):
    return Cell(metal=metal, began=BEGAN, currents=currents, **more)


@pytest.mark.parametrize(
    ("metal", "milligrams", "coulombs"),
    [
        # The international ampere deposits 0.001 118 00 g of silver a second (International Conference on Electrical
        # Units and Standards, London 1908).
        ("Ag", "1.11800", 1),
        # Electrochemical equivalent of trivalent gold, milligrams a coulomb, as handbooks print it (from memory, CRC
        # Handbook of Chemistry and Physics).
        ("Au", "0.6812", 1),
    ],
)
def test_deposit_of_a_coulomb_by_the_old_tables(metal, milligrams, coulombs):
    """Within the change of atomic weights and of the ampere since: a fifth of a per cent."""
    found = deposited_mg(metal, Fraction(coulombs * 1000, 3600))
    assert abs(found / Fraction(milligrams) - 1) < Fraction(2, 1000)


@pytest.mark.parametrize(("metal", "electrons", "grams"), [("Au", 3, "2.4497"), ("Ag", 1, "4.0247")])
def test_deposit_of_an_ampere_hour_by_a_table_of_elements(metal, electrons, grams):
    """periodictable's atomic weight over z F, with the CODATA constant 96 485.332 12 C/mol."""
    weight = Fraction(str(getattr(elements, metal).mass))
    independent = weight * 3600 / (electrons * Fraction("96485.33212"))
    assert abs(deposited_mg(metal, 1000) / 1000 - independent) < Fraction(1, 100_000)
    assert abs(independent - Fraction(grams)) < Fraction(1, 10_000)


def test_charge_counts_only_what_lies_before_a_time():
    found = cell(current(0, 10), current(12, 22, 50))
    assert found.milliampere_hours() == 1_500_000
    assert found.milliampere_hours(after(17)) == 1_250_000
    assert found.milliampere_hours(after(11)) == 1_000_000
    assert found.milliampere_hours(after(-5)) == 0


@given(st.lists(st.tuples(st.integers(1, 50), st.integers(0, 500)), min_size=1, max_size=8), st.integers(1, 400))
def test_cut_anywhere_a_charge_is_the_sum_of_its_parts(lengths, cut):
    """Readings one after the other, cut at any hour: before and after sum to the whole, exactly."""
    start, currents, rest = 0, [], []
    for hours, amperes in lengths:
        currents.append(current(start, start + hours, amperes))
        if start + hours > cut:
            rest.append(current(max(start, cut), start + hours, amperes))
        start += hours
    whole, later = cell(*currents), cell(*rest)
    assert whole.milliampere_hours(after(cut)) + later.milliampere_hours() == whole.milliampere_hours()


def test_efficiency_is_found_at_the_last_weighing():
    """100 A over 24 h deposit 9 659.30 g of silver; 9 176.34 g weighed are 95 per cent. What flows later is not due."""
    found = cell(current(0, 24), current(24, 40), metal="Ag", cathodes=(Weighed(after(24), 9_176_339),))
    assert found.efficiency_ppm == 950_000
    assert judge(found).word == "as expected"


def test_starting_sheets_are_taken_off_and_those_hung_later_are_not():
    sheets = (Weighed(after(0), 500_000), Weighed(after(25), 700_000))
    found = cell(current(0, 24), cathodes=(Weighed(after(24), 6_000_000),), starters=sheets)
    assert found.weighed_mg() == 5_500_000


def test_energy_is_of_the_readings_that_have_a_voltage():
    """1 kA at 1 V is 1 kW; one hour of it deposits 2.449698 kg: 0.408214 kWh for a kilogram of gold."""
    found = cell(current(0, 1, 1000, 1), current(1, 9, 1000))
    assert abs(found.wh_per_kg - Fraction("408.214")) < Fraction(1, 1000)
    assert cell(current(0, 1)).wh_per_kg is None


def test_the_end_is_where_the_anodes_are_used_up():
    """2 449.698 g of gold left in the anodes and 100 A that give 244.97 g an hour: ten hours more."""
    found = cell(current(0, 10), anodes_mg=4_999_396, back_mg=100_000)
    assert abs(found.ends - after(20)) < timedelta(seconds=1)
    assert cell(current(0, 10, 0), anodes_mg=1_000).ends is None
    assert cell(current(0, 1), anodes_mg=5, back_mg=5).ends is None


@pytest.mark.parametrize(
    ("found", "word"),
    [
        (cell(), "no current read"),
        (cell(current(0, 24)), "no cathode weighed"),
        (cell(current(30, 40), cathodes=(Weighed(after(24), 1),)), "no current read"),
        (cell(current(0, 10), cathodes=(Weighed(after(10), 2_000_000),)), "too little deposit"),
        (cell(current(0, 10), cathodes=(Weighed(after(10), 2_700_000),)), "too much deposit"),
        (cell(current(0, 10), cathodes=(Weighed(after(24), 3_000_000),)), "readings missing"),
        (cell(current(2, 12), cathodes=(Weighed(after(12), 2_400_000),)), "readings missing"),
        (cell(current(0, 10), cathodes=(Weighed(after(10), 2_500_000),)), "as expected"),
        (cell(current(0, 10), metal="Ag", cathodes=(Weighed(after(10), 4_105_000),)), "too much deposit"),
    ],
)
def test_what_is_said_of_a_deposit(found, word):
    assert judge(found).word == word
