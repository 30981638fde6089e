"""Fire assay against the worked examples of a handbook."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.assay import (
    Charge,
    Proof,
    fire_assay,
    format_milligrams,
    mean_ppm,
    mean_surcharge_ug,
    parse_milligrams,
    silver_to_add_ug,
)
from custody.calc.refusals import Refused
from tests.calc.published import cases

WORKED = [*cases("assay", "surcharge"), *cases("assay", "silver_by_checks"), *cases("assay", "silver_as_chloride")]


@pytest.mark.parametrize("case", WORKED)
def test_worked_examples(case):
    assay = fire_assay([Charge(**piece) for piece in case["pieces"]], [Proof(**proof) for proof in case["proofs"]])
    assert assay.surcharge_ug == case["surcharge_ug"]
    assert assay.results_ppm == tuple(case["results_ppm"])
    assert assay.mean_ppm == case["mean_ppm"]
    assert assay.spread_ppm == max(case["results_ppm"]) - min(case["results_ppm"])
    if "printed_ppm" in case:
        assert abs(assay.mean_ppm - case["printed_ppm"]) <= case["printed_within_ppm"]


def test_the_purity_of_a_proof_counts():
    """500 000 ug of 999.9 proof hold 499 950 ug: a cornet of 500 000 has a surcharge of 50."""
    assert mean_surcharge_ug([Proof(500_000, 500_000, purity_ppm=999_900)]) == 50


def test_proofs_are_averaged_before_they_are_rounded():
    proofs = [Proof(500_000, 500_001), Proof(500_000, 500_000)]
    assert mean_surcharge_ug(proofs) * 2 == 1
    # (450 000 - 0.5) / 500 000 = 899.999 per mille exactly.
    assert fire_assay([Charge(500_000, 450_000)], proofs).mean_ppm == 899_999


@pytest.mark.parametrize(("results", "mean"), [((1, 2), 2), ((2, 3), 2), ((916_600, 916_700), 916_650), ((7,), 7)])
def test_means_go_half_to_even(results, mean):
    assert mean_ppm(results) == mean


@given(st.integers(1, 10**7), st.data())
def test_without_proofs_a_result_is_the_ratio(sample, data):
    cornet = data.draw(st.integers(0, sample))
    result = fire_assay([Charge(sample, cornet)]).mean_ppm
    assert abs(result * sample - cornet * 1_000_000) * 2 <= sample


@given(st.integers(100_000, 400_000), st.integers(-500, 500))
def test_a_surcharge_that_hits_proof_and_sample_alike_is_taken_out(fine, surcharge):
    sample = Charge(500_000, fine + surcharge)
    proof = Proof(450_000, 450_000 + surcharge)
    assert fire_assay([sample], [proof]).mean_ppm == fine * 2


@pytest.mark.parametrize("case", cases("assay", "silver_to_add"))
def test_silver_to_add(case):
    assert silver_to_add_ug(case["sample_ug"], case["gold_ppm"], case["silver_ppm"]) == case["add_ug"]


def test_silver_to_add_by_another_ratio():
    """100 g of 750 gold and 100 silver at 3 to 1: 225 less 10."""
    assert silver_to_add_ug(100_000, 750_000, 100_000, ratio=Fraction(3)) == 215_000
    assert silver_to_add_ug(100_000, 100_000, 800_000) == 0


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: fire_assay([]), "sample"),
        (lambda: mean_ppm([]), "result"),
        (lambda: Charge(0, 0), "sample"),
        (lambda: Charge(1, -1), "cornet"),
        (lambda: Proof(0, 1), "proof"),
        (lambda: Proof(1, 0), "proof"),
        (lambda: Proof(1, 1, purity_ppm=0), "purity"),
        (lambda: Proof(1, 1, purity_ppm=1_000_001), "purity"),
        (lambda: silver_to_add_ug(0, 1), "sample"),
        (lambda: silver_to_add_ug(1, -1), "fineness"),
        (lambda: silver_to_add_ug(1, 600_000, 400_001), "fineness"),
        (lambda: fire_assay([Charge(500_000, 500_100)]), "cornet"),
        (lambda: fire_assay([Charge(500_000, 10)], [Proof(500_000, 500_100)]), "cornet"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field


@pytest.mark.parametrize(("text", "ug"), [("250", 250_000), ("250.013", 250_013), ("0.001", 1), (" 7.5 ", 7_500)])
def test_an_assay_balance_is_read_to_the_microgram(text, ug):
    assert parse_milligrams(text) == ug
    assert parse_milligrams(format_milligrams(ug)) == ug


@pytest.mark.parametrize("text", ["250.0131", "250,013", "-1", "0", "250 mg", "1e3", "", "NaN"])
def test_what_is_no_weighing_is_refused(text):
    with pytest.raises(Refused):
        parse_milligrams(text)
