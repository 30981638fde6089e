"""What a cell should have deposited and what was weighed: Faraday's law over the readings of its current, exact.

Masses are milligrams, currents milliamperes, voltages millivolts; a time is an aware datetime, and only what lies
between two of them counts.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from fractions import Fraction

from custody.calc.chemistry import deposited_mg
from custody.calc.mass import format_grams
from custody.calc.rounding import half_even, to_places
from custody.terms import Form, Kind

#: Which metal a cell deposits.
METAL_OF = {Kind.ELECTROLYSE_GOLD: "Au", Kind.ELECTROLYSE_SILVER: "Ag"}
#: What comes off the cathodes. Silver falls as crystals.
DEPOSITS = {"Au": (Form.CATHODE,), "Ag": (Form.CATHODE, Form.SILVER_SAND)}
#: What hangs in a cell before the current flows, to take the deposit: starting sheets are weighed with the cathodes.
STARTERS = (Form.CATHODE, Form.STRIP)

#: Current efficiencies, parts per million, outside which a cell is looked at (common practice). Some gold goes into
#: solution and is deposited with a single charge, so that a gold cell may give a little more than its trivalent figure.
USUAL = {"Au": (900_000, 1_050_000), "Ag": (900_000, 1_010_000)}
#: A share of the time, parts per million, that may pass unread before the efficiency says so (common practice).
UNREAD = 50_000

#: What no cell of a refinery carries: a slipped decimal point.
MOST_MILLIAMPERE = 20_000_000
MOST_MILLIVOLT = 100_000

_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Current:
    """A mean current over a time, with the voltage where it was read."""

    from_at: datetime
    to_at: datetime
    milliampere: int
    millivolt: int | None = None

    def hours(self, until: datetime | None = None) -> Fraction:
        """Its length in hours, as far as it lies before ``until``."""
        end = min(self.to_at, until) if until else self.to_at
        return _hours(max(end - self.from_at, timedelta(0)))


@dataclass(frozen=True, slots=True)
class Weighed:
    """Deposit weighed at a time; starting sheets that went in are less than nothing."""

    at: datetime
    mg: int


@dataclass(frozen=True, slots=True)
class Cell:
    """One run of a cell. ``anodes_mg`` of its metal went in with the anodes, ``back_mg`` left with scrap and slimes."""

    metal: str
    began: datetime
    currents: tuple[Current, ...]
    cathodes: tuple[Weighed, ...] = ()
    starters: tuple[Weighed, ...] = ()
    anodes_mg: int = 0
    back_mg: int = 0

    def milliampere_hours(self, until: datetime | None = None) -> Fraction:
        """The charge that went through the cell."""
        return _charge(self.currents, until)

    def expected_mg(self, until: datetime | None = None) -> Fraction:
        """What that charge deposits by Faraday's law."""
        return deposited_mg(self.metal, self.milliampere_hours(until))

    @property
    def last_weighed(self) -> datetime | None:
        """When cathodes were weighed last."""
        return max((one.at for one in self.cathodes), default=None)

    def weighed_mg(self, until: datetime | None = None) -> int:
        """The deposit weighed: cathodes less the starting sheets that had gone in before the last of them."""
        last = max((one.at for one in self.cathodes if until is None or one.at <= until), default=None)
        if last is None:
            return 0
        return sum(one.mg for one in self.cathodes if one.at <= last) - sum(
            one.mg for one in self.starters if one.at <= last
        )

    @property
    def efficiency_ppm(self) -> int | None:
        """The current efficiency found: weighed deposit to the expected one, up to the last weighing."""
        expected = self.expected_mg(self.last_weighed) if self.cathodes else 0
        return _ppm(Fraction(self.weighed_mg()), expected) if expected else None

    def unread(self, until: datetime) -> timedelta:
        """Time of the run in which no current was read."""
        read = sum((min(one.to_at, until) - one.from_at for one in self.currents if one.from_at < until), timedelta(0))
        return max(until - self.began - read, timedelta(0))

    @property
    def energy_mwh(self) -> Fraction:
        """Milliwatt-hours of the readings in which the voltage was read, too."""
        return sum((one.hours() * one.milliampere * one.millivolt / 1000 for one in self._with_voltage), Fraction(0))

    @property
    def wh_per_kg(self) -> Fraction | None:
        """Watt-hours for a kilogram deposited, at the efficiency found (at the whole current while none is)."""
        deposit = deposited_mg(self.metal, _charge(self._with_voltage)) * (self.efficiency_ppm or 1_000_000) / 1_000_000
        return self.energy_mwh * 1000 / deposit if deposit > 0 else None

    @property
    def _with_voltage(self) -> list[Current]:
        return [one for one in self.currents if one.millivolt is not None]

    @property
    def ends(self) -> datetime | None:
        """When the anodes' metal will be deposited, at the latest current read and the efficiency found."""
        if not self.currents or self.anodes_mg <= self.back_mg:
            return None
        latest = max(self.currents, key=lambda one: one.to_at)
        share = Fraction(self.efficiency_ppm or 1_000_000, 1_000_000)
        rate = deposited_mg(self.metal, latest.milliampere) * share
        if rate <= 0:
            return None
        left = max(self.anodes_mg - self.back_mg - self.expected_mg() * share, Fraction(0))
        hours = left / rate
        if hours > 24 * 3650:
            return None
        return latest.to_at + timedelta(seconds=half_even((hours * 3600).numerator, (hours * 3600).denominator))


@dataclass(frozen=True, slots=True)
class Judgement:
    """What is said of a cell's deposit; ``tone`` good, wait, stop or plain."""

    word: str
    tone: str
    sentence: str


def judge(cell: Cell) -> Judgement:
    """Whether the weighed deposit is what the current should have given."""
    if not cell.currents:
        return Judgement("no current read", "plain", "Keep the current: what it should deposit is reckoned from it.")
    if not cell.cathodes:
        return Judgement("no cathode weighed", "plain", "The efficiency is found with the first cathode weighed.")
    found = cell.efficiency_ppm
    if found is None:
        return Judgement("no current read", "stop", "Cathodes were drawn, and no current is read up to then.")
    gap = abs(cell.expected_mg(cell.last_weighed) - cell.weighed_mg())
    off = f"{format_grams(half_even(gap.numerator, gap.denominator))} g"
    low, high = USUAL[cell.metal]
    if _gap_in_readings(cell) and found > high:
        return Judgement("readings missing", "wait", f"{off} more than read currents give: some time was not read.")
    if found > high:
        return Judgement(
            "too much deposit", "stop",
            f"{off} more than the current can give. Check the readings, the ammeter, and the weight of the starting"
            " sheets: were they charged as lots?",
        )  # fmt: skip
    if found < low:
        return Judgement(
            "too little deposit", "stop",
            f"{off} less than the current should give. Look for cathodes still in the cell, metal fallen to the bottom,"
            " a short circuit between electrodes, and leaking current.",
        )  # fmt: skip
    if _gap_in_readings(cell):
        return Judgement("readings missing", "wait", "Some time was not read: the efficiency found is too high.")
    return Judgement("as expected", "good", "The weighed deposit is what the current should give.")


def _gap_in_readings(cell: Cell) -> bool:
    last = cell.last_weighed
    whole = last - cell.began
    return cell.unread(last) * 1_000_000 > whole * UNREAD


def ampere_hours(milliampere_hours: Fraction) -> str:
    """Ampere-hours with two decimals, half to even."""
    return str(to_places(milliampere_hours / 1000, 2))


def rounded_mg(mg: Fraction) -> int:
    """Whole milligrams of a reckoned deposit, half to even."""
    return half_even(mg.numerator, mg.denominator)


def _charge(currents: Iterable[Current], until: datetime | None = None) -> Fraction:
    return sum((one.hours(until) * one.milliampere for one in currents), Fraction(0))


def _hours(length: timedelta) -> Fraction:
    return Fraction(length // timedelta(microseconds=1), _HOUR // timedelta(microseconds=1))


def _ppm(part: Fraction, whole: Fraction) -> int:
    share = part * 1_000_000 / whole
    return half_even(share.numerator, share.denominator)


def points(cell: Cell) -> Sequence[datetime]:
    """The times at which a cell's curves bend: its start, readings' ends, weighings."""
    times = {cell.began, *(one.at for one in cell.cathodes)}
    for one in cell.currents:
        times |= {one.from_at, one.to_at}
    return sorted(times)
