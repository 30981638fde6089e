"""Control charts against published series."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from custody.calc.control import Side, cusum, ewma, individuals, running_sum
from custody.calc.refusals import Refused
from custody.calc.rounding import to_places
from tests.calc.published import cases

series = st.lists(st.integers(-10_000, 10_000), min_size=2, max_size=40)


def numbers(text: str) -> list[Decimal]:
    return [Decimal(number) for number in text.split()]


def parameters(case: dict, *names: str) -> dict[str, Decimal]:
    return {name: Decimal(case[name]) for name in names}


@pytest.mark.parametrize("case", cases("control", "cusum"), ids=lambda case: case["name"])
def test_cusum(case):
    chart = cusum(numbers(case["values"]), **parameters(case, "target", "allowance", "decision", "head_start"))
    highs, lows = numbers(case["highs"]), numbers(case["lows"])
    assert list(chart.highs) == highs
    assert list(chart.lows[: len(lows)]) == lows
    assert [signal.point for signal in chart.signals] == case["signals"]
    assert {signal.side for signal in chart.signals} <= {Side.HIGH}
    if case["signals"]:
        assert chart.signals[0].shift_after == case["shift_after"]


def test_the_run_of_the_published_signal():
    """Table 9.1: the counter of the upper sum stands at 7 in period 29."""
    case = cases("control", "cusum")[0]
    chart = cusum(numbers(case["values"]), **parameters(case, "target", "allowance", "decision"))
    assert chart.high_runs[28] == 7


@given(series, st.integers(-100, 100), st.integers(0, 100), st.integers(1, 10_000))
def test_a_cusum_upside_down(values, target, allowance, decision):
    chart = cusum(values, target=target, allowance=allowance, decision=decision)
    mirror = cusum([2 * target - value for value in values], target=target, allowance=allowance, decision=decision)
    assert (mirror.highs, mirror.lows) == (chart.lows, chart.highs)
    assert all(total >= 0 for total in (*chart.highs, *chart.lows))
    assert [signal.point for signal in mirror.signals if signal.side is Side.LOW] == [
        signal.point for signal in chart.signals if signal.side is Side.HIGH
    ]


@pytest.mark.parametrize("case", cases("control", "running_sum"))
def test_running_sum(case):
    assert list(running_sum(numbers(case["values"]), target=Decimal(case["target"]))) == numbers(case["sums"])


@pytest.mark.parametrize("case", cases("control", "ewma"))
def test_ewma(case):
    chart = ewma(numbers(case["values"]), **parameters(case, "target", "sigma", "weight", "width"))
    for average, printed in zip(chart.averages, case["averages"].split(), strict=True):
        assert to_places(average, len(printed.partition(".")[2])) == Decimal(printed)
    limits = chart.limits(2)
    assert [str(limit) for limit in limits[0]] == case["first_limits"]
    assert [str(limit) for limit in limits[-1]] == case["last_limits"]
    assert [signal.point for signal in chart.signals] == case["signals"]


@given(series, st.integers(1, 500))
def test_an_ewma_of_weight_one_is_the_series(values, sigma):
    chart = ewma(values, target=0, sigma=sigma, weight=1, width=3)
    assert chart.averages == tuple(values)
    assert [signal.point for signal in chart.signals] == [i for i, v in enumerate(values, 1) if abs(v) > 3 * sigma]


@given(st.integers(-1000, 1000), st.integers(1, 30))
def test_on_target_nothing_signals(target, length):
    values = [target] * length
    assert ewma(values, target=target, sigma=1, weight=Decimal("0.2"), width=3).signals == ()
    assert cusum(values, target=target, allowance=1, decision=5).signals == ()
    assert set(running_sum(values, target=target)) == {0}


@pytest.mark.parametrize("case", cases("control", "individuals"))
def test_individuals(case):
    chart = individuals(numbers(case["values"]), baseline=case["baseline"])
    for name in ("centre", "mean_range", "upper", "lower", "upper_range"):
        assert str(to_places(getattr(chart, name), 2)) == case[name]
    assert [[signal.point, signal.side] for signal in chart.signals] == case["signals"]


def test_limits_of_the_whole_series():
    chart = individuals([1, 3, 2])
    assert (chart.centre, chart.mean_range, chart.ranges) == (2, Fraction(3, 2), (2, 1))
    assert chart.signals == ()


def test_a_value_that_falls_is_said_to_be_below():
    chart = individuals([10, 11, 10, 11, 0], baseline=4)
    assert [(signal.point, signal.side) for signal in chart.signals] == [(5, Side.LOW), (5, Side.RANGE)]


@given(series, st.integers(-1000, 1000))
def test_a_chart_moves_with_its_values(values, shift):
    chart, moved = individuals(values), individuals([value + shift for value in values])
    assert moved.signals == chart.signals
    assert moved.upper - chart.upper == shift
    assert chart.lower <= chart.centre <= chart.upper


@pytest.mark.parametrize(
    ("refused", "field"),
    [
        (lambda: individuals([1]), "baseline"),
        (lambda: individuals([1, 2], baseline=3), "baseline"),
        (lambda: individuals([1, 2], baseline=1), "baseline"),
        (lambda: individuals([1, 2.5]), "values"),
        (lambda: running_sum([Decimal("NaN")], target=0), "values"),
        (lambda: ewma([1], target=0, sigma=1, weight=0, width=3), "weight"),
        (lambda: ewma([1], target=0, sigma=1, weight=Decimal("1.1"), width=3), "weight"),
        (lambda: ewma([1], target=0, sigma=0, weight=1, width=3), "sigma"),
        (lambda: ewma([1], target=0, sigma=1, weight=1, width=0), "sigma"),
        (lambda: cusum([1], target=0, allowance=-1, decision=1), "decision"),
        (lambda: cusum([1], target=0, allowance=1, decision=0), "decision"),
        (lambda: cusum([1], target=0, allowance=1, decision=1, head_start=-1), "decision"),
    ],
)
def test_refused(refused, field):
    with pytest.raises(Refused) as refusal:
        refused()
    assert refusal.value.field == field
