"""What agreements say beside a plain share: penalties by bands, deductions, means of prices, parts fixed on call."""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from statistics import mean

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.accountability import Accountability
from custody.calc.charges import Charges, Facts, SmallLot, advance, charge_lines
from custody.calc.penalties import Band, Schedule, penalties
from custody.calc.pricing import Fixed, Quote, doubtful, mean_of, missing_days, open_position_mg
from custody.calc.rates import Rate, Unit, as_charge, lump
from custody.calc.refusals import Refused
from tests.calc.published import cases


def per_ounce(amount):
    return Rate(Decimal(amount), Unit.TROY_OUNCE)


def schedule_of(case):
    bands = tuple(Band(int(up_to), per_ounce(rate)) for up_to, rate in case["bands"])
    return Schedule(case["element"], case["free_ppm"], bands)


@pytest.mark.parametrize("case", cases("settlement", "deleterious_elements"), ids=lambda case: case["element"])
def test_the_published_schedule_at_its_boundaries(case):
    schedule = schedule_of(case)
    for ppm, rate in case["at"]:
        if rate is None:
            with pytest.raises(Refused) as refused:
                schedule.rate_at(ppm)
            assert refused.value.field == case["element"]
        else:
            found = schedule.rate_at(ppm)
            assert (found.amount if found else Decimal(0)) == Decimal(rate)


def test_a_penalty_is_reckoned_on_the_whole_gross_weight():
    lead = Schedule("Pb", 100, (Band(300, per_ounce("0.15")), Band(500, per_ounce("0.25"))))
    (line,) = penalties(31_103_477, {"Pb": 500}, [lead], "USD")  # 1000.000 ozt
    assert (str(line.amount), line.formula.split(" = ")[0]) == (
        "-250.00",
        "31\u202f103.477 g ÷ 31.1034768 g/ozt × 0.25 USD/ozt",
    )
    assert penalties(31_103_477, {"Pb": 100}, [lead], "USD") == ()
    with pytest.raises(Refused, match="was not measured"):
        penalties(31_103_477, {}, [lead], "USD")


@pytest.mark.parametrize(
    ("free", "ends"), [(100, (100,)), (100, (300, 300)), (100, (300, 200)), (-1, ()), (0, (1_000_001,))]
)
def test_a_schedule_that_does_not_rise(free, ends):
    with pytest.raises(Refused):
        Schedule("As", free, tuple(Band(end, per_ounce("1")) for end in ends))


@given(
    st.integers(0, 1_000_000), st.integers(0, 1_000_000), st.integers(0, 10**9), st.integers(0, 10**9),
    st.sampled_from([1, 10, 1000]),
)  # fmt: skip
def test_what_is_accounted_for_is_never_more_than_either_way_gives(share, deduct, content, rest, step):
    weight = content + rest
    due = Accountability(share, deduct, step_mg=step).due_mg(content, weight)
    exact = max(min(Fraction(content * share, 10**6), content - Fraction(weight * deduct, 10**6)), Fraction(0))
    assert 0 <= due <= content
    assert due <= exact < due + step
    assert due % step == 0


def test_the_lesser_of_a_share_and_a_deduction():
    agreed = Accountability(995_000, 1_000)
    # At 900 ‰ half a per cent is 4.5 g of a kilogram, at 100 ‰ 0.5 g: there the gram of the deduction is more.
    assert agreed.due_mg(900_000, 1_000_000) == 895_500
    assert agreed.due_mg(100_000, 1_000_000) == 99_000
    assert agreed.formula(100_000, 1_000_000, "payable") == (
        "the lesser of 100.000 g × 99.50 % and 100.000 g − 1\u202f000.000 g × 1.0 ‰ = 99.000 g payable,"
        " rounded down to 0.001 g"
    )
    assert Accountability(least_mg=62_207).due_mg(62_206, 10**6) == 0


def quote(day, amount, **changes):
    said = {"metal": "Au", "fixing": "afternoon", "per": Unit.TROY_OUNCE, "currency": "USD", "source": "bulletin"}
    return Quote(day=date(2026, 3, day), amount=Decimal(amount), **(said | changes))


@given(st.lists(st.integers(1, 10**8), min_size=1, max_size=20))
def test_a_mean_is_rounded_once(thousandths):
    prices = [Decimal(value).scaleb(-3) for value in thousandths]
    found = mean_of([quote(day, price) for day, price in enumerate(prices, start=1)])
    assert abs(Fraction(found.amount) - mean(map(Fraction, prices))) <= Fraction(1, 20_000)
    assert found.amount == found.amount.quantize(Decimal("0.0001"))


@pytest.mark.parametrize(
    "quotes",
    [
        [],
        [quote(2, "2000"), quote(2, "2001")],
        [quote(2, "2000"), quote(3, "2000", metal="Ag")],
        [quote(2, "2000"), quote(3, "2000", fixing="morning")],
        [quote(2, "2000"), quote(3, "2000", per=Unit.GRAM)],
        [quote(2, "2000"), quote(3, "2000", currency="EUR")],
    ],
)
def test_no_mean_of_unlike_prices(quotes):
    with pytest.raises(Refused):
        mean_of(quotes)


def test_days_without_a_price():
    days = [date(2026, 3, day) for day in (4, 2, 3)]
    assert missing_days([quote(3, "2000")], days) == [date(2026, 3, 2), date(2026, 3, 4)]
    with pytest.raises(Refused):
        quote(2, "2000", source=" ")


def test_a_jump_is_doubtful_only_past_its_limit():
    assert not doubtful(Decimal("2100"), Decimal("2000"), 50_000)
    assert doubtful(Decimal("2100.01"), Decimal("2000"), 50_000)
    assert doubtful(Decimal("1899.99"), Decimal("2000"), 50_000)


def test_what_has_no_price_yet_is_a_position():
    parts = [Fixed(400, quote(2, "2000")), Fixed(100, quote(3, "2001"))]
    assert open_position_mg(501, parts) == 1
    for payable, fixed in ((499, parts), (500, [Fixed(0, quote(2, "2000"))])):
        with pytest.raises(Refused):
            open_position_mg(payable, fixed)


def test_charges_beside_the_metals_and_tax_on_top():
    agreed = Charges(
        treatment=Decimal("50"),
        assay=Decimal("12.50"),
        small_lot=SmallLot(500_000, Decimal("40")),
        penalties=(Schedule("Pb", 100, (Band(300, Rate(Decimal("0.001"))),)),),
        minimum=Decimal("130"),
        tax_ppm=200_000,
    )
    umpire = as_charge(lump("Umpire's fee", Decimal("10"), "EUR"))
    facts = Facts(assays=2, impurities_ppm={"Pb": 250}, more=(umpire,))
    lines = charge_lines(400_000, (), agreed, facts, "EUR")
    assert [(line.what, str(line.amount)) for line in lines] == [
        ("Treatment", "-50.00"),
        ("Assays", "-25.00"),
        ("Small lot, under 500.000 g", "-40.00"),
        ("Penalty for Pb, 0.025 %, on gross weight", "-0.40"),
        ("Umpire's fee", "-10.00"),
        ("Up to the minimum charge", "-4.60"),
        ("Tax on charges", "-26.00"),
    ]
    whole = charge_lines(500_000, (), agreed, facts, "EUR")
    assert "Small lot, under 500.000 g" not in [line.what for line in whole]


@pytest.mark.parametrize(
    ("due", "share", "paid"),
    [
        ("1000.01", 900_000, "900.00"),
        ("0.01", 999_999, "0.00"),
        ("-5.00", 900_000, "0.00"),
        ("3.33", 1_000_000, "3.33"),
    ],
)
def test_an_advance_is_never_more_than_its_share(due, share, paid):
    assert str(advance(Decimal(due), share)) == paid


@pytest.mark.parametrize(
    "wrong",
    [
        lambda: Charges(tax_ppm=1_000_001),
        lambda: Charges(assay=Decimal("-1")),
        lambda: SmallLot(0, Decimal(1)),
        lambda: SmallLot(5, Decimal("0.001")),
    ],
)
def test_charges_that_nobody_agrees(wrong):
    with pytest.raises(Refused):
        wrong()
