"""Bars chosen for a list, each as it is or as it last left, with its weights by the rule of its market."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from custody.calc.bar_sizes import nominal_size
from custody.calc.bars import Stated, stated
from custody.calc.fineness import fine_mg, parse_per_mille
from custody.calc.refusals import Refused
from custody.models import Bar, Box, Lot, Movement, Operation, Place, User
from custody.queries import scope
from custody.terms import METALS, PPM, Side

#: A list longer than this is asked for in parts.
MOST = 2000


@dataclass(frozen=True, slots=True)
class BarLine:
    """One bar of a list, milligrams and ppm, as its certificate states it: fineness as marked, fine weight by that.

    Nothing of its metal is known while no assay valued it; one that can't be marked is told as the book has it.
    """

    bar: Bar
    lot: Lot
    kind: str
    gross_mg: int
    metal: str = ""
    ppm: int | None = None
    fine_mg: int | None = None
    weight: Stated | None = None


@dataclass(frozen=True, slots=True)
class Chosen:
    """What a list is of; ``words`` names it, ``number`` is that of a dispatch, cast or box, empty for the others."""

    words: str
    number: str = ""
    dispatch: Operation | None = None
    cast: Operation | None = None
    box: Box | None = None
    place: Place | None = None
    days: tuple[date, date] | None = None


@dataclass(frozen=True, slots=True)
class Total:
    """One metal of a list: bars, gross and fine in milligrams, and the sums of the lines in troy ounces."""

    metal: str
    bars: int
    gross_mg: int
    fine_mg: int
    weights: tuple[Stated, ...] = field(default=(), repr=False)

    @property
    def gross_ozt(self):
        """Troy ounces gross: the sum of the lines."""
        return sum(weight.gross_ozt for weight in self.weights)

    @property
    def fine_ozt(self):
        """Troy ounces fine: the sum of the lines."""
        return sum(weight.fine_ozt for weight in self.weights)


def lines(chosen: Chosen, viewer: User) -> list[BarLine]:
    """The bars of a choice: of a box in its order, else by mark, year and serial. Cancelled bars are left out."""
    bars = scope.bars(viewer).filter(cancelled_by__isnull=True)
    if chosen.dispatch:
        bars = bars.filter(lot__movements__operation=chosen.dispatch, lot__movements__side=Side.IN)
    if chosen.cast:
        bars = bars.filter(lot__created_by=chosen.cast)
    if chosen.box:
        bars = bars.filter(lot__boxed__box=chosen.box).order_by("lot__boxed__position")
    if chosen.place:
        bars = bars.filter(lot__place=chosen.place, lot__gross_mg__gt=0)
    if chosen.days:
        bars = bars.filter(lot__created_by__day__range=chosen.days)
    found = list(bars.select_related("lot", "bar_type")[: MOST + 1])
    if not chosen.box:
        found.sort(key=lambda bar: (bar.mark, bar.year, len(bar.serial), bar.serial))
    return of_bars(found)


def of_bars(bars: Iterable[Bar]) -> list[BarLine]:
    """Lines of these bars, in their order."""
    bars = list(bars)
    gone = Movement.objects.in_bulk([bar.lot.last_movement for bar in bars if not bar.lot.gross_mg])
    return [_line(bar, gone.get(bar.lot.last_movement)) for bar in bars]


def totals(found: Iterable[BarLine]) -> list[Total]:
    """What a list comes to, metal by metal; bars without an assay count in none."""
    found = list(found)
    sums = []
    for metal in METALS:
        of_metal = [line for line in found if line.metal == metal]
        if of_metal:
            sums.append(
                Total(
                    metal,
                    len(of_metal),
                    sum(line.gross_mg for line in of_metal),
                    sum(line.fine_mg for line in of_metal),
                    tuple(line.weight for line in of_metal if line.weight),
                )
            )
    return sums


def _line(bar: Bar, left: Movement | None) -> BarLine:
    """As it is; of one that is gone, as it last left."""
    gross, *metals = (left or bar.lot).columns_mg
    kind = bar.bar_type.name if bar.bar_type else nominal_size(gross)
    if not bar.lot.valued or not any(metals):
        return BarLine(bar, bar.lot, kind, gross)
    metal, fine = max(zip(METALS, metals, strict=True), key=lambda held: held[1])
    if bar.bar_type:
        metal, fine = bar.bar_type.metal, metals[METALS.index(bar.bar_type.metal)]
    ppm = fine * PPM // gross
    try:
        weight = stated(metal, gross, ppm, bar.bar_type.nominal_mg if bar.bar_type else None)
    except Refused:
        return BarLine(bar, bar.lot, kind, gross, metal, ppm, fine)
    marked = parse_per_mille(weight.mark)
    return BarLine(bar, bar.lot, kind, gross, metal, marked, fine_mg(gross, marked), weight)
