"""Fineness by difference of impurities."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.fineness import parse_per_mille
from custody.calc.high_purity import FIVE_NINES, Impurity, Undetected, by_difference, parse_impurity
from custody.calc.refusals import Refused
from tests.calc.published import cases


@pytest.mark.parametrize("case", cases("high_purity", "by_difference"))
def test_by_difference(case):
    found = by_difference(case["metal"], [parse_impurity(*line) for line in case["mg_per_kg"].items()])
    assert found.fineness_ppm == parse_per_mille(case["fineness"])
    assert found.stated_ppm() == parse_per_mille(case["four_nines"])
    assert found.stated_ppm(FIVE_NINES) == parse_per_mille(case["five_nines"])


def test_undetected_elements_are_counted_at_their_limit_or_not_at_all():
    lines = [Impurity("Ag", 60_000), Impurity("Pb", 5_000, undetected=True)]
    assert by_difference("Au", lines).fineness_ppm == 999_935
    left_out = by_difference("Au", lines, Undetected.NOT_COUNTED)
    assert (left_out.fineness_ppm, left_out.counted_ppb, left_out.undetected) == (999_940, 60_000, "not counted")


@given(st.lists(st.integers(0, 200_000), min_size=1, max_size=5))
def test_no_impurity_is_rounded_away(amounts):
    found = by_difference(
        "Au", [Impurity(e, ppb) for e, ppb in zip(("Ag", "Cu", "Fe", "Pb", "Pd"), amounts, strict=False)]
    )
    assert found.fineness_ppm * 1000 + sum(amounts) <= 10**9 < (found.fineness_ppm + 1) * 1000 + sum(amounts)
    assert found.stated_ppm() <= found.fineness_ppm
    assert found.stated_ppm() <= 999_900


@pytest.mark.parametrize(
    ("text", "ppb", "undetected"),
    [("12.5", 12_500, False), (" 0.001 ", 1, False), ("0", 0, False), ("<0.5", 500, True), (" < 0.5", 500, True)],
)
def test_lines_of_a_report(text, ppb, undetected):
    assert parse_impurity("Cu", text) == Impurity("Cu", ppb, undetected)


@pytest.mark.parametrize("text", ["", "<", "<0", "<<1", ">1", "1,5", "-1", "1.2345", "nan", "1e3", "12 ppm", None])
def test_lines_that_are_not_understood(text):
    with pytest.raises(Refused) as refusal:
        parse_impurity("Cu", text)
    assert refusal.value.field == "Cu"


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: Impurity("Xx", 1), "element"),
        (lambda: Impurity("cu", 1), "element"),
        (lambda: Impurity("Cu", -1), "Cu"),
        (lambda: Impurity("Cu", 10**9 + 1), "Cu"),
        (lambda: by_difference("Cu", [Impurity("Ag", 1)]), "metal"),
        (lambda: by_difference("Au", []), "impurities"),
        (lambda: by_difference("Au", [Impurity("Au", 1)]), "Au"),
        (lambda: by_difference("Au", [Impurity("Ag", 1), Impurity("Ag", 1)]), "Ag"),
        (lambda: by_difference("Au", [Impurity("Ag", 1_000_001)]), "impurities"),
        (lambda: by_difference("Au", [Impurity("Ag", 10**9), Impurity("Cu", 10**9)]), "impurities"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field
