"""Bars as the London market states them, against the published rules and lists."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc import bars
from custody.calc.agreed_fine import AGREED_FINE_OZT
from custody.calc.fineness import parse_per_mille
from custody.calc.mass import TROY_OUNCE, TROY_OUNCE_PARTS, parse_grams
from custody.calc.refusals import Refused
from tests.calc.published import cases


def kilograms(text):
    return parse_grams(f"{text} kg", allow_units=True)


@pytest.mark.parametrize("case", cases("bars", "weight_list_lines"))
def test_a_weight_list_line(case):
    fine = bars.fine_ozt(Decimal(case["gross_ozt"]), parse_per_mille(case["per_mille"]))
    assert str(fine) == case["fine_ozt"]


@pytest.mark.parametrize("case", cases("bars", "gold_from_kilograms"))
def test_gold_is_stated_down_to_a_fortieth_of_an_ounce(case):
    gross = bars.london_gross_ozt(kilograms(case["kg"]))
    assert str(gross) == case["gross_ozt"]
    assert str(bars.fine_ozt(gross, parse_per_mille(case["per_mille"]))) == case["fine_ozt"]


@pytest.mark.parametrize("case", cases("bars", "silver_from_kilograms"))
def test_silver_is_stated_down_to_a_tenth_of_an_ounce(case):
    assert bars.london_gross_ozt(kilograms(case["kg"]), step=bars.SILVER_STEP) == Decimal(case["gross_ozt"])


@pytest.mark.parametrize("case", cases("bars", "beam_balance"))
def test_a_bar_must_turn_the_beam_balance(case):
    assert str(bars.beam_balance_ozt(Decimal(case["dead_ozt"]))) == case["gross_ozt"]


@given(st.integers(0, 10**11))
def test_the_stated_weight_is_never_more_than_the_bar(mg):
    stated = int(bars.london_gross_ozt(mg) * 1000)
    dead = mg * 1000 * TROY_OUNCE_PARTS
    assert stated % bars.GOLD_STEP == 0
    assert stated * TROY_OUNCE <= dead < (stated + bars.GOLD_STEP) * TROY_OUNCE


@pytest.mark.parametrize("case", cases("bars", "agreed_fine_content"))
def test_agreed_fine_content(case):
    assert str(bars.agreed_fine_ozt(case["bar"], parse_per_mille(case["per_mille"]))) == case["fine_ozt"]


@pytest.mark.parametrize("case", cases("bars", "where_arithmetic_agrees_with_the_agreed_table"))
def test_the_agreed_table_against_arithmetic(case):
    for ppm, agreed in AGREED_FINE_OZT[case["bar"]].items():
        exact = Decimal(case["grams"]) / Decimal("31.1034768") * ppm / 1_000_000
        assert exact.quantize(Decimal("0.001")) == agreed


def test_no_agreed_figure_is_far_from_arithmetic():
    """A slip of a digit in the table would be seen here: agreed figures differ from arithmetic by 0.001 at most."""
    grams = {"g": Decimal(1), "kg": Decimal(1000), "ozt": Decimal("31.1034768"), "tola": Decimal("11.6638038")}
    compared = 0
    for nominal, row in AGREED_FINE_OZT.items():
        count, unit = nominal.split()
        if unit not in grams:
            continue
        for ppm, agreed in row.items():
            exact = int(count) * grams[unit] / Decimal("31.1034768") * ppm / 1_000_000
            assert abs(exact - agreed) < Decimal("0.0015"), (nominal, ppm)
            compared += 1
    assert compared == 48


def test_a_bar_without_an_agreed_content():
    with pytest.raises(Refused, match=r"bar of 1 kg at 999\.5"):
        bars.agreed_fine_ozt("1 kg", 999_500)
    with pytest.raises(Refused, match="bar of 2 kg"):
        bars.agreed_fine_ozt("2 kg", 999_900)


@pytest.mark.parametrize("case", cases("bars", "marks"))
def test_marks(case):
    assert bars.mark_fineness(parse_per_mille(case["per_mille"])) == case["mark"]


@given(st.integers(100_000, 1_000_000))
def test_a_mark_has_four_figures_and_never_says_too_much(ppm):
    mark = bars.mark_fineness(ppm)
    assert len(mark.replace(".", "")) == 4
    assert 0 <= ppm - parse_per_mille(mark) <= 100


@pytest.mark.parametrize(
    "refused",
    [
        lambda: bars.mark_fineness(99_999),
        lambda: bars.london_gross_ozt(-1),
        lambda: bars.beam_balance_ozt(Decimal("0.001")),
        lambda: bars.beam_balance_ozt(Decimal("400.0005")),
        lambda: bars.beam_balance_ozt(Decimal("NaN")),
        lambda: bars.fine_ozt(Decimal("-1"), 995_000),
        lambda: bars.fine_ozt(Decimal("Infinity"), 995_000),
        lambda: bars.fine_ozt(Decimal("1e-999999"), 995_000),
        lambda: bars.fine_ozt(Decimal("1e400"), 995_000),
        lambda: bars.fine_ozt(Decimal(1), 1_000_001),
    ],
)
def test_refused(refused):
    with pytest.raises(Refused):
        refused()


@pytest.mark.parametrize("case", cases("bars", "gold_from_kilograms"))
def test_a_market_bar_is_stated_by_its_weight_list_line(case):
    found = bars.stated("Au", kilograms(case["kg"]), parse_per_mille(case["per_mille"]))
    assert (str(found.gross_ozt), found.mark, str(found.fine_ozt)) == (
        case["gross_ozt"], case["per_mille"], case["fine_ozt"]
    )  # fmt: skip
    assert "0.025 ozt" in found.rule


@pytest.mark.parametrize("case", [case for case in cases("bars", "agreed_fine_content") if " g" in case["bar"]])
def test_a_small_bar_holds_its_agreed_fine_content(case):
    mg = parse_grams(case["bar"], allow_units=True)
    found = bars.stated("Au", mg, parse_per_mille(case["per_mille"]))
    assert str(found.fine_ozt) == case["fine_ozt"]
    assert found.rule == f"agreed fine content of a bar of {case['bar']}"


@pytest.mark.parametrize(
    ("metal", "mg", "ppm", "gross", "mark", "fine"),
    [
        # A milligram under its weight, or of a fineness that is in no table: by arithmetic, down.
        ("Au", 999_999, 999_900, "32.151", "999.9", "32.147"),
        ("Au", 1_000_000, 998_000, "32.151", "998.0", "32.086"),
        # 31.103477 kg of silver are 1000.0 ozt (LBMA Good Delivery Rules for silver, to 0.1 ozt down); x 0.9990.
        ("Ag", 31_103_477, 999_000, "1000.000", "999.0", "999.000"),
        ("Ag", 1_000_000, 999_000, "32.151", "999.0", "32.118"),
        # 386.000 ozt gross of 900 are 347.4 fine ounces: no market bar, though it weighs more than 350.
        ("Au", 12_005_943, 900_000, "386.000", "900.0", "347.400"),
        # Finer than four nines is marked 999.9, and counts as that.
        ("Au", 1_000_000, 999_990, "32.151", "999.9", "32.148"),
    ],
)
def test_bars_of_no_list_are_stated_down(metal, mg, ppm, gross, mark, fine):
    found = bars.stated(metal, mg, ppm)
    assert (str(found.gross_ozt), found.mark, str(found.fine_ozt)) == (gross, mark, fine)


@given(st.sampled_from(("Au", "Ag")), st.integers(1, 10**8), st.integers(100_000, 1_000_000))
def test_no_bar_but_an_agreed_one_is_stated_finer_than_it_is(metal, mg, ppm):
    found = bars.stated(metal, mg, ppm)
    if found.rule.startswith("by arithmetic"):
        assert found.fine_ozt * TROY_OUNCE <= Decimal(mg * ppm * TROY_OUNCE_PARTS) / 10**6
