"""Settlements: conserved to the milligram, and every line repeated from its own formula."""

import re
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.accountability import Accountability
from custody.calc.charges import Charges
from custody.calc.fineness import fine_mg
from custody.calc.mass import format_troy_ounces, parse_grams
from custody.calc.money import checked_amount, format_money
from custody.calc.rates import Rate, Unit
from custody.calc.refusals import Refused
from custody.calc.rounding import down
from custody.calc.settlement import ChargedOn, MetalTerms, Terms, settle
from custody.terms import METALS, Outturn
from tests.calc.published import cases

PER_GRAM = Rate(Decimal("75.20"))
PER_OUNCE = Rate(Decimal("2350.00"), Unit.TROY_OUNCE)

rates = st.builds(Rate, st.integers(0, 10**9).map(lambda n: Decimal(n).scaleb(-4)), st.sampled_from(list(Unit)))


@st.composite
def metal_terms(draw, metal):
    return MetalTerms(
        metal,
        Accountability(draw(st.integers(0, 1_000_000)), step_mg=draw(st.sampled_from([1, 10, 1000]))),
        outturn=draw(st.sampled_from(list(Outturn))),
        price=draw(rates),
        refining=draw(st.none() | rates),
        refining_on=draw(st.sampled_from(list(ChargedOn))),
    )


@st.composite
def settlements(draw):
    content = {metal: draw(st.integers(0, 10**9)) for metal in draw(st.sets(st.sampled_from(METALS)))}
    terms = Terms(
        "EUR",
        tuple(draw(metal_terms(metal)) for metal in METALS),
        Charges(
            handling=draw(st.none() | rates),
            treatment=draw(st.integers(0, 10**6).map(lambda n: Decimal(n).scaleb(-2))),
            minimum=draw(st.integers(0, 10**6).map(lambda n: Decimal(n).scaleb(-2))),
        ),
    )
    gross = sum(content.values()) + draw(st.integers(0, 10**9))
    return content, terms, settle(gross, content, terms)


@given(settlements())
def test_payable_retained_and_returned_are_the_content(settlement):
    content, terms, settled = settlement
    assert [line.metal for line in settled.metals] == list(METALS)
    for line, agreed in zip(settled.metals, terms.metals, strict=True):
        assert line.content_mg == content.get(line.metal, 0)
        assert line.payable_mg + line.retained_mg + line.returned_mg == line.content_mg
        assert min(line.payable_mg, line.retained_mg, line.returned_mg) >= 0
        due = line.payable_mg + line.returned_mg
        assert due * 1_000_000 <= line.content_mg * agreed.accounts.share_ppm
        assert (due + agreed.accounts.step_mg) * 1_000_000 > line.content_mg * agreed.accounts.share_ppm
        assert (line.returned_mg if agreed.outturn is Outturn.MONEY else line.payable_mg) == 0


@given(settlements())
def test_the_total_is_the_sum_of_its_lines(settlement):
    _, terms, settled = settlement
    charged = -sum(line.amount for line in settled.charges)
    assert settled.total == sum(line.amount for line in settled.values) - charged
    assert charged >= terms.charges.minimum
    assert all(line.amount <= 0 for line in settled.charges)
    assert all(line.amount >= 0 for line in settled.values)
    assert all(line.amount == line.amount.quantize(Decimal("0.01")) for line in (*settled.values, *settled.charges))


def pocket_calculator(formula):
    """Work out ``a g [/ 31.1034768 g/ozt] * b CUR/unit = c CUR`` as its reader would."""
    plain = formula.replace("\u202f", "")
    grams, rate, amount = re.fullmatch(
        r"([0-9.]+) g(?: \u00f7 31\.1034768 g/ozt)? \u00d7 ([0-9.]+) EUR/(?:g|ozt)"
        r" = ([0-9.]+) EUR, rounded half to even to 0\.01",
        plain,
    ).groups()
    value = Decimal(grams) * Decimal(rate)
    if "ozt" in formula:
        value /= Decimal("31.1034768")
    return value.quantize(Decimal("0.01"), ROUND_HALF_EVEN), Decimal(amount)


@given(settlements())
def test_a_customer_can_repeat_every_line(settlement):
    _, _, settled = settlement
    rated = [line for line in (*settled.values, *settled.charges) if " g" in line.formula]
    for line in rated:
        repeated, printed = pocket_calculator(line.formula)
        assert repeated == printed == abs(line.amount)


@pytest.mark.parametrize("case", [*cases("settlement", "toll_report"), *cases("settlement", "dore_example")])
def test_worked_settlements(case):
    content = down(case["gross_mg"] * case["ppm"], 1_000_000, step=case["step_mg"])
    assert content == case["content_mg"]
    if case["step_mg"] == 1:
        assert content == fine_mg(case["gross_mg"], case["ppm"])
    terms = MetalTerms("Au", Accountability(case["payable_ppm"], step_mg=case["step_mg"]), outturn=Outturn.METAL)
    (line,) = settle(case["gross_mg"], {"Au": content}, Terms("USD", (terms,))).metals
    assert (line.returned_mg, line.payable_mg, line.retained_mg) == (case["due_mg"], 0, case["retained_mg"])
    if "due_ozt" in case:
        assert format_troy_ounces(content) == case["content_ozt"]
        assert format_troy_ounces(line.returned_mg) == case["due_ozt"]
        # The printed ounces come from the rounded ounces above them, a tenth away from the content's own.
        printed = Decimal(case["printed_content_ozt"]) * case["payable_ppm"] / 1_000_000
        assert str(printed.quantize(Decimal("0.1"))) == case["printed_due_ozt"]


@pytest.mark.parametrize("case", cases("settlement", "rates"))
def test_a_schedule_with_a_minimum(case):
    gold = parse_grams(case["gold_g"])
    terms = Terms(
        "USD",
        (MetalTerms("Au", Accountability(980_000), price=PER_OUNCE, refining=Rate(Decimal("1.25"), Unit.TROY_OUNCE)),),
        Charges(minimum=Decimal(75)),
    )
    charges = settle(gold, {"Au": gold}, terms).charges
    assert str(charges[0].amount) == case["charge"]
    assert sum((line.amount for line in charges[1:]), Decimal("0.00")) == Decimal(case["top_up"])


def test_a_receipt_in_money_and_metal():
    terms = Terms(
        "EUR",
        (
            MetalTerms("Ag", Accountability(950_000), price=Rate(Decimal("0.95")), refining=Rate(Decimal("0.02"))),
            MetalTerms(
                "Au",
                Accountability(995_000),
                outturn=Outturn.METAL,
                refining=Rate(Decimal("0.10")),
                refining_on=ChargedOn.PAYABLE,
            ),
            MetalTerms("Cu", Accountability(0)),
        ),
        Charges(handling=Rate(Decimal("0.005")), treatment=Decimal("150")),
    )
    settled = settle(1_000_000, {"Au": 800_001, "Ag": 150_000, "Cu": 40_000}, terms)
    assert [(m.metal, m.payable_mg, m.returned_mg, m.retained_mg) for m in settled.metals] == [
        ("Au", 0, 796_000, 4_001),
        ("Ag", 142_500, 0, 7_500),
        ("Cu", 0, 0, 40_000),
    ]
    assert [(line.what, str(line.amount)) for line in (*settled.values, *settled.charges)] == [
        ("Ag payable", "135.38"),  # 135.375, to the even cent
        ("Au refining, on payable or returned metal", "-79.60"),
        ("Ag refining, on settled content", "-3.00"),
        ("Handling, on gross weight", "-5.00"),
        ("Treatment", "-150.00"),
    ]
    assert str(settled.total) == "-102.22"
    assert settled.metals[0].formula == (
        "800.001 g \u00d7 99.50 % = 796.000 g returned, rounded down to 0.001 g;"
        " retained 800.001 \u2212 796.000 = 4.001 g"
    )


def test_the_minimum_says_how_it_came_about():
    terms = Terms(
        "USD",
        (MetalTerms("Au", Accountability(1_000_000), price=PER_GRAM),),
        Charges(treatment=Decimal("25.50"), minimum=Decimal("2075")),
    )
    charges = settle(1_000, {"Au": 1_000}, terms).charges
    assert [str(line.amount) for line in charges] == ["-25.50", "-2049.50"]
    assert charges[1].formula == "minimum 2\u202f075.00 \u2212 charged 25.50 = 2\u202f049.50 USD"


def test_nothing_settles_to_nothing():
    settled = settle(0, {}, Terms("USD", (MetalTerms("Au", Accountability(980_000), price=PER_GRAM),)))
    assert settled.values == settled.charges == ()
    assert settled.total == 0


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: settle(10, {"Au": 11}, Terms("USD", (MetalTerms("Au", Accountability(0)),))), "content"),
        (lambda: settle(10, {"Au": -1}, Terms("USD", (MetalTerms("Au", Accountability(0)),))), "content"),
        (lambda: settle(10, {"Au": 1, "Pd": 1}, Terms("USD", (MetalTerms("Au", Accountability(0)),))), "Pd"),
        (lambda: MetalTerms("Rh", Accountability(0)), "metal"),
        (lambda: Accountability(1_000_001), "share"),
        (lambda: Accountability(-1), "share"),
        (lambda: MetalTerms("Au", Accountability(980_000)), "price"),
        (lambda: Accountability(0, step_mg=0), "step"),
        (lambda: Terms("usd", ()), "currency"),
        (lambda: Terms("EURO", ()), "currency"),
        (lambda: Terms("USD", (MetalTerms("Au", Accountability(0)), MetalTerms("Au", Accountability(0)))), "metal"),
        (lambda: Charges(treatment=Decimal("-1")), "treatment"),
        (lambda: Charges(treatment=Decimal("1.005")), "treatment"),
        (lambda: Charges(minimum=Decimal("NaN")), "minimum"),
        (lambda: Rate(Decimal("1e400")), "rate"),
        (lambda: Rate(Decimal("1e-400")), "rate"),
        (lambda: Rate(Decimal("sNaN")), "rate"),
        (lambda: Rate(Decimal("-0.01")), "rate"),
        (lambda: Rate(75.2), "rate"),
        (lambda: checked_amount(Decimal("0.0000001"), "price"), "price"),
        (lambda: format_money(Decimal("0.005")), "amount"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field


@pytest.mark.parametrize(
    ("amount", "text"),
    [
        ("0", "0.00"),
        ("1234567.8", "1\u202f234\u202f567.80"),
        ("-0.05", "\u22120.05"),
        ("-1234", "\u22121\u202f234.00"),
        ("1E+3", "1\u202f000.00"),
    ],
)
def test_money_written(amount, text):
    assert format_money(Decimal(amount)) == text


@given(st.integers(0, 10**11), rates)
def test_a_rate_is_rounded_once(mg, rate):
    exact = Decimal(mg) * rate.amount / 1000
    if rate.per is Unit.TROY_OUNCE:
        exact = exact / Decimal("31.1034768")
    assert abs(rate.on(mg) - exact) <= Decimal("0.005")
