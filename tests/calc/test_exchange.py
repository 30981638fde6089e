"""Exchange of assays: splitting limits, umpire rules, and who pays."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from custody.calc.exchange import Outcome, UmpirePaidBy, UmpireRule, exchange, settle, umpire, within_limit
from custody.calc.fineness import parse_per_mille, parse_percent
from custody.calc.refusals import Refused
from tests.calc.published import cases

finenesses = st.integers(0, 1_000_000)
limits = st.integers(0, 5_000)
rules = st.sampled_from(UmpireRule)


def read(results: dict[str, str]) -> dict[str, int | None]:
    return {metal: text and parse_per_mille(text) for metal, text in results.items()}


@pytest.mark.parametrize("case", cases("exchange", "splitting_limits"))
def test_splitting_limits(case):
    limits_ppm = {metal: parse_percent(text) for metal, text in case["limits_percent"].items()}
    lines = exchange(read(case["refinery"]), read(case["customer"]), limits_ppm)
    assert {line.metal: line.settled_ppm for line in lines} == read(case["settled"])
    assert all((line.settled_ppm is None) == (line.outcome is Outcome.UMPIRE) for line in lines)


@pytest.mark.parametrize("case", cases("exchange", "umpire"))
def test_umpire_rules(case):
    refinery, customer, third = (parse_per_mille(case[name]) for name in ("refinery", "customer", "umpire"))
    for rule, expected in ((UmpireRule.FINAL, "final"), (UmpireRule.NEARER, "nearer"), (UmpireRule.MEAN, "mean")):
        found = umpire(refinery, customer, 500, third, rule)
        assert found.settled_ppm == parse_per_mille(case[expected])
        assert found.paid_by == case["paid_by"]


@pytest.mark.parametrize(
    ("refinery", "customer", "mean"), [(900_000, 900_001, 900_000), (900_001, 900_002, 900_002), (5, 5, 5)]
)
def test_the_mean_goes_half_to_even(refinery, customer, mean):
    assert exchange({"Au": refinery}, {"Au": customer}, {"Au": 500})[0].settled_ppm == mean


@given(finenesses, finenesses, limits)
def test_the_mean_lies_between_and_favours_nobody(refinery, customer, limit):
    (line,) = exchange({"Au": refinery}, {"Au": customer}, {"Au": limit})
    (turned,) = exchange({"Au": customer}, {"Au": refinery}, {"Au": limit})
    assert (line.outcome, line.settled_ppm) == (turned.outcome, turned.settled_ppm)
    if line.settled_ppm is not None:
        assert min(refinery, customer) <= line.settled_ppm <= max(refinery, customer)
        assert abs(2 * line.settled_ppm - refinery - customer) <= 1
    assert (line.settled_ppm is None) == (abs(line.difference_ppm) > limit)


@given(finenesses, finenesses, limits, finenesses, rules)
def test_an_umpire_favours_nobody(refinery, customer, limit, third, rule):
    assume(abs(refinery - customer) > limit)
    found, turned = (umpire(*parties, limit, third, rule) for parties in ((refinery, customer), (customer, refinery)))
    assert found.settled_ppm == turned.settled_ppm
    other = {UmpirePaidBy.REFINERY: UmpirePaidBy.CUSTOMER, UmpirePaidBy.CUSTOMER: UmpirePaidBy.REFINERY}
    assert turned.paid_by == other.get(found.paid_by, UmpirePaidBy.SHARED)


@given(finenesses, finenesses, limits, finenesses, rules)
def test_what_counts_is_never_farther_out_than_all_three(refinery, customer, limit, third, rule):
    assume(abs(refinery - customer) > limit)
    found = umpire(refinery, customer, limit, third, rule)
    assert min(refinery, customer, third) <= found.settled_ppm <= max(refinery, customer, third)
    if rule is UmpireRule.NEARER:
        assert min(refinery, customer) <= found.settled_ppm <= max(refinery, customer)
        assert found.settled_ppm in (refinery, customer, third)
    if rule is UmpireRule.FINAL:
        assert found.settled_ppm == third


@given(finenesses, finenesses, limits, finenesses)
def test_the_farther_party_pays(refinery, customer, limit, third):
    assume(abs(refinery - customer) > limit)
    paid_by = umpire(refinery, customer, limit, third, UmpireRule.FINAL).paid_by
    ours, theirs = abs(third - refinery), abs(third - customer)
    assert (paid_by == "refinery") == (ours > theirs)
    assert (paid_by == "customer") == (ours < theirs)
    assert (paid_by == "shared") == (2 * third == refinery + customer)


@given(st.dictionaries(st.sampled_from(("Au", "Ag", "Pt")), st.tuples(finenesses, finenesses)), limits)
def test_every_metal_is_settled_by_itself(results, limit):
    lines = exchange(
        {metal: ours for metal, (ours, _) in results.items()},
        {metal: theirs for metal, (_, theirs) in results.items()},
        {"Au": limit, "Ag": limit},
    )
    assert [line.metal for line in lines] == [metal for metal in ("Au", "Ag", "Pt") if metal in results]
    for line in lines:
        alone = {"Au": limit, "Ag": limit} if line.metal != "Pt" else {}
        ours, theirs = results[line.metal]
        assert exchange({line.metal: ours}, {line.metal: theirs}, alone) == (line,)


def test_in_words():
    gold, silver, palladium = exchange(
        {"Au": 900_500, "Ag": 80_000, "Pd": 1_200}, {"Au": 900_001, "Ag": 82_500}, {"Au": 500, "Ag": 2_000}
    )
    assert gold.sentence == (
        "Au: 900.5 and 900.001 lie 0.499 apart, within 0.5; their mean 900.25 counts, rounded half to even to 0.001."
    )
    assert silver.sentence == "Ag: 80.0 and 82.5 lie 2.5 apart, more than 2.0; the umpire assays."
    assert palladium.sentence == "Pd: the refinery's 1.2 per mille count, as agreed."
    assert palladium.difference_ppm is None


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: exchange({"Fe": 1}, {}, {}), "metal"),
        (lambda: exchange({"Au": 1}, {}, {"Au": 1}), "Au"),
        (lambda: exchange({}, {"Au": 1}, {"Au": 1}), "Au"),
        (lambda: exchange({"Pt": 1_000_001}, {}, {}), "refinery"),
        (lambda: within_limit(-1, 0, 1), "refinery"),
        (lambda: within_limit(0, 1_000_001, 1), "customer"),
        (lambda: within_limit(0, 1, -1), "limit"),
        (lambda: umpire(900_000, 900_500, 500, 900_100, UmpireRule.FINAL), "umpire"),
        (lambda: umpire(900_000, 901_000, 500, 1_000_001, UmpireRule.FINAL), "umpire"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field


@given(st.integers(0, 1_000_000), st.integers(0, 1_000_000), limits, st.one_of(st.none(), finenesses), rules)
def test_a_whole_exchange_is_its_parts(refinery, customer, limit, third, rule):
    given_by_umpire = {} if third is None else {"Au": third}
    (line,) = settle({"Au": refinery}, {"Au": customer}, {"Au": limit}, given_by_umpire, rule)
    (alone,) = exchange({"Au": refinery}, {"Au": customer}, {"Au": limit})
    assert line.exchanged == alone
    if abs(refinery - customer) <= limit:
        assert (line.umpired, line.settled_ppm) == (None, alone.settled_ppm)
    elif third is None:
        assert line.settled_ppm is None
    else:
        assert line.umpired == umpire(refinery, customer, limit, third, rule)


def test_without_the_customers_result_the_refinerys_stands():
    """Source: a clause of a concentrate contract, lawinsider.com "Method for determining final analysis"."""
    lines = settle({"Au": 900_500, "Ag": 80_000}, None, {"Au": 500, "Ag": 2_000}, {}, UmpireRule.FINAL)
    assert [line.settled_ppm for line in lines] == [900_500, 80_000]


def test_the_umpires_answer_in_words():
    (line,) = settle({"Au": 900_000}, {"Au": 901_000}, {"Au": 500}, {"Au": 900_200}, UmpireRule.MEAN)
    assert line.sentence == (
        "Au: 900.0 and 901.0 lie 1.0 apart, more than 0.5; the umpire assays. The umpire found 900.2; by the rule"
        " “mean of umpire and nearer party” 900.1 counts. The customer was farther from it and pays the umpire’s assay."
    )
