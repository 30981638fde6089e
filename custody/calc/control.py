"""Control charts for proof assays and step losses: individuals with moving range, EWMA, tabular cusum.

Sources: Montgomery, Introduction to Statistical Quality Control, 8th ed., chapters 6 and 9; Lucas and Crosier, 1982
(fast initial response). Values come in any one unit as whole numbers, decimals or fractions; everything is reckoned
exactly, and only what is written down is rounded, half to even. Points are counted from 1.

A chart says that something changed, not what: a signal is looked into before the next charge goes into the furnace.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from itertools import pairwise

from custody.calc.refusals import Refused
from custody.calc.rounding import root_to_places, to_places

Exact = int | Decimal | Fraction

#: Factors for moving ranges of two (Montgomery, appendix VI): mean range over sigma, and upper limit over mean range.
D2 = Fraction(1_128, 1_000)
D4 = Fraction(3_267, 1_000)
SIGMAS = 3


class Side(StrEnum):
    """Which way a chart signals."""

    HIGH = "above"
    LOW = "below"
    RANGE = "range"


@dataclass(frozen=True, slots=True)
class Signal:
    """A point out of control: which, which way, and after which point the shift began (None: the chart cannot say)."""

    point: int
    side: Side
    shift_after: int | None = None


@dataclass(frozen=True, slots=True)
class Individuals:
    """An individuals chart with its moving ranges, exact. The first range belongs to point 2."""

    values: tuple[Fraction, ...]
    ranges: tuple[Fraction, ...]
    centre: Fraction
    mean_range: Fraction

    @property
    def upper(self) -> Fraction:
        """The upper control limit of a value: centre + 3 mean ranges / 1.128."""
        return self.centre + SIGMAS * self.mean_range / D2

    @property
    def lower(self) -> Fraction:
        """The lower control limit of a value."""
        return self.centre - SIGMAS * self.mean_range / D2

    @property
    def upper_range(self) -> Fraction:
        """The upper control limit of a moving range: 3.267 mean ranges. The lower one is zero."""
        return D4 * self.mean_range

    @property
    def signals(self) -> tuple[Signal, ...]:
        """Values outside the limits, and moving ranges above theirs, in the order of points."""
        found = []
        for point, value in enumerate(self.values, 1):
            if not self.lower <= value <= self.upper:
                found.append(Signal(point, Side.HIGH if value > self.upper else Side.LOW))
            if point > 1 and self.ranges[point - 2] > self.upper_range:
                found.append(Signal(point, Side.RANGE))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Ewma:
    """An exponentially weighted moving average, exact. ``variances`` are those of its points about the target."""

    target: Fraction
    width: Fraction
    averages: tuple[Fraction, ...]
    variances: tuple[Fraction, ...]

    @property
    def signals(self) -> tuple[Signal, ...]:
        """Averages farther from the target than ``width`` standard deviations: compared squared, without a root."""
        found = []
        for point, (average, variance) in enumerate(zip(self.averages, self.variances, strict=True), 1):
            away = average - self.target
            if away**2 > self.width**2 * variance:
                found.append(Signal(point, Side.HIGH if away > 0 else Side.LOW))
        return tuple(found)

    def limits(self, places: int) -> tuple[tuple[Decimal, Decimal], ...]:
        """Lower and upper control limit at each point, for drawing and printing, half to even."""
        target = to_places(self.target, places)
        widths = [root_to_places(self.width**2 * variance, places) for variance in self.variances]
        return tuple((target - width, target + width) for width in widths)


@dataclass(frozen=True, slots=True)
class Cusum:
    """A tabular cusum, exact: both sums at every point, and for how many points each has been above zero."""

    decision: Fraction
    highs: tuple[Fraction, ...]
    lows: tuple[Fraction, ...]
    high_runs: tuple[int, ...]
    low_runs: tuple[int, ...]

    @property
    def signals(self) -> tuple[Signal, ...]:
        """Points at which a sum exceeds the decision interval; the shift began where the sum last left zero."""
        found = []
        for side, sums, runs in ((Side.HIGH, self.highs, self.high_runs), (Side.LOW, self.lows, self.low_runs)):
            for point, (total, run) in enumerate(zip(sums, runs, strict=True), 1):
                if total > self.decision:
                    found.append(Signal(point, side, point - run))
        return tuple(sorted(found, key=lambda signal: signal.point))


def individuals(values: Sequence[Exact], *, baseline: int | None = None) -> Individuals:
    """An individuals chart; its limits come from the first ``baseline`` values, or from all of them.

    Limits that were found once are kept by charting the later values behind the same baseline. Raises Refused for
    fewer than two values in the baseline, for a baseline longer than the series, and for values that are not exact.
    """
    exact = _exact(values)
    count = len(exact) if baseline is None else baseline
    if not 2 <= count <= len(exact):
        raise Refused("Limits need at least two values, and no more than there are.", field="baseline")
    ranges = tuple(abs(after - before) for before, after in pairwise(exact))
    return Individuals(
        values=exact,
        ranges=ranges,
        centre=sum(exact[:count], Fraction(0)) / count,
        mean_range=sum(ranges[: count - 1], Fraction(0)) / (count - 1),
    )


def ewma(values: Sequence[Exact], *, target: Exact, sigma: Exact, weight: Exact, width: Exact) -> Ewma:
    """An EWMA chart: z = weight * value + (1 - weight) * z before, beginning at the target.

    Its variance at point i is sigma squared * weight / (2 - weight) * (1 - (1 - weight) to the power 2i); ``width``
    is L. Raises Refused for a weight outside 0 to 1, a sigma or width of zero or less, and values that are not exact.
    """
    target, sigma, weight, width = _exact((target, sigma, weight, width))
    if not 0 < weight <= 1:
        raise Refused("The weight of an EWMA is more than 0 and at most 1.", field="weight")
    if sigma <= 0 or width <= 0:
        raise Refused("Sigma and the width of the limits are more than zero.", field="sigma")
    averages, variances = [], []
    average, faded = target, Fraction(1)
    for value in _exact(values):
        average = weight * value + (1 - weight) * average
        faded *= (1 - weight) ** 2
        averages.append(average)
        variances.append(sigma**2 * weight / (2 - weight) * (1 - faded))
    return Ewma(target, width, tuple(averages), tuple(variances))


def cusum(values: Sequence[Exact], *, target: Exact, allowance: Exact, decision: Exact, head_start: Exact = 0) -> Cusum:
    """A tabular cusum: C+ = max(0, x - (target + K) + C+ before), C- = max(0, (target - K) - x + C- before).

    K is the ``allowance``, H the ``decision`` interval, both in the unit of the values; both sums begin at
    ``head_start`` (half of H answers faster after a repair). Raises Refused for an allowance or head start below zero,
    a decision interval of zero or less, and values that are not exact.
    """
    target, allowance, decision, start = _exact((target, allowance, decision, head_start))
    if allowance < 0 or start < 0 or decision <= 0:
        raise Refused("Allowance and head start are zero or more, the decision interval more.", field="decision")
    exact = _exact(values)
    highs, high_runs = _sums((value - target - allowance for value in exact), start)
    lows, low_runs = _sums((target - allowance - value for value in exact), start)
    return Cusum(decision, highs, lows, high_runs, low_runs)


def running_sum(values: Sequence[Exact], *, target: Exact) -> tuple[Fraction, ...]:
    """The plain cusum: the sum of deviations from the target up to each point, exact.

    Its slope is what to look at: level, the mean is on target. Raises Refused for values that are not exact.
    """
    (aim,) = _exact((target,))
    total, sums = Fraction(0), []
    for value in _exact(values):
        total += value - aim
        sums.append(total)
    return tuple(sums)


def _sums(steps: Iterable[Fraction], start: Fraction) -> tuple[tuple[Fraction, ...], tuple[int, ...]]:
    total, run = start, 0
    sums, runs = [], []
    for step in steps:
        total = max(Fraction(0), total + step)
        run = run + 1 if total else 0
        sums.append(total)
        runs.append(run)
    return tuple(sums), tuple(runs)


def _exact(values: Iterable[Exact]) -> tuple[Fraction, ...]:
    """The values as fractions. A binary float is refused: it has lost its last digit before it comes here."""
    found = []
    for value in values:
        if not isinstance(value, int | Decimal | Fraction) or (isinstance(value, Decimal) and not value.is_finite()):
            raise Refused("A chart takes whole numbers, decimals and fractions.", field="values")
        found.append(Fraction(value))
    return tuple(found)
