"""Penalties for impurities: free up to a share, then a charge by bands, and past the last band not accepted.

A schedule is agreed with a party. A share of exactly a band's upper end still lies in it. The charge is per unit of the
whole gross weight, as in the schedule of a refining agreement on public file (its figures are a test).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from custody.calc.fineness import format_percent
from custody.calc.rates import MoneyLine, Rate, as_charge, rated
from custody.calc.refusals import Refused
from custody.terms import PPM


@dataclass(frozen=True, slots=True)
class Band:
    """Up to this share of the gross weight, ppm, so much is charged per unit of it."""

    up_to_ppm: int
    rate: Rate


@dataclass(frozen=True, slots=True)
class Schedule:
    """What is agreed for one element; shares in ppm of the gross weight."""

    element: str
    free_ppm: int
    bands: tuple[Band, ...]

    def __post_init__(self) -> None:
        ends = [self.free_ppm, *(band.up_to_ppm for band in self.bands)]
        if any(later <= earlier for earlier, later in pairwise(ends)):
            raise Refused(f"The bands of {self.element} rise from the free share on.", field="bands")
        if self.free_ppm < 0 or ends[-1] > PPM:
            raise Refused(f"The shares of {self.element} lie between 0 and 100 %.", field="bands")

    @property
    def most_ppm(self) -> int:
        """The most that is accepted."""
        return self.bands[-1].up_to_ppm if self.bands else self.free_ppm

    def rate_at(self, ppm: int) -> Rate | None:
        """What is charged at this share; None where it is free. Raises ``Refused`` for more than is accepted."""
        if ppm < 0 or ppm > self.most_ppm:
            raise Refused(
                f"{self.element} is {format_percent(ppm)} %: more than {format_percent(self.most_ppm)} % is not"
                " accepted.",
                field=self.element,
            )
        if ppm <= self.free_ppm:
            return None
        return next(band.rate for band in self.bands if ppm <= band.up_to_ppm)


def penalties(
    gross_mg: int, found_ppm: Mapping[str, int], schedules: Sequence[Schedule], currency: str
) -> tuple[MoneyLine, ...]:
    """A charge for each element of the schedules whose share is not free, each rounded half to even to 0.01 once.

    An element that was not measured is no zero: it is refused, as is one above what is accepted (``Refused``).
    """
    lines = []
    for schedule in schedules:
        if schedule.element not in found_ppm:
            raise Refused(
                f"{schedule.element} is agreed with a penalty and was not measured. Have it measured first.",
                field=schedule.element,
            )
        ppm = found_ppm[schedule.element]
        rate = schedule.rate_at(ppm)
        if rate is not None and rate.amount > Decimal(0):
            what = f"Penalty for {schedule.element}, {format_percent(ppm)} %, on gross weight"
            lines.append(as_charge(rated(what, "", rate, gross_mg, currency)))
    return tuple(lines)
