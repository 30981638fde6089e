"""Runs of electrolytic cells as the book and their readings have them."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import F, QuerySet

from custody.calc.cell import DEPOSITS, METAL_OF, STARTERS, Cell, Current, Weighed
from custody.models import CellReading, Lot, Movement, Run, User
from custody.queries import scope
from custody.terms import Form, Kind, Side


def contents_of_cells(viewer: User) -> QuerySet[Lot]:
    """The contents of cells' runs as they are now, open or finished."""
    found = scope.lots(viewer).filter(form=Form.IN_PROCESS, pk=F("run__content_id"), run__step__in=tuple(METAL_OF))
    return found.select_related("place", "custodian", "run__vessel", "run__opened_by", "run__finished_by")


def readings_of(run: Run) -> QuerySet[CellReading]:
    """Readings of a run that count, in their order."""
    return CellReading.objects.filter(run=run, replaced_by=None).select_related("by", "replaces").order_by("from_at")


def replaced_readings(run: Run) -> QuerySet[CellReading]:
    """Readings of a run that others took the place of."""
    return CellReading.objects.filter(run=run, replaced_by__isnull=False).select_related("by", "replaced_by__by")


@dataclass(slots=True)
class _Sums:
    cathodes: list[Weighed] = field(default_factory=list)
    starters: list[Weighed] = field(default_factory=list)
    anodes_mg: int = 0
    back_mg: int = 0


def cells_of(runs: Iterable[Run]) -> dict[int, Cell]:
    """What was read, charged and weighed of these runs, by their id; reversed operations count for nothing."""
    runs = list(runs)
    currents: dict[int, list[Current]] = defaultdict(list)
    for one in CellReading.objects.filter(run__in=runs, replaced_by=None).order_by("from_at"):
        currents[one.run_id].append(Current(one.from_at, one.to_at, one.milliampere, one.millivolt))
    metals = {run.pk: METAL_OF[Kind(run.step)] for run in runs}
    sums: dict[int, _Sums] = defaultdict(_Sums)
    lines = Movement.objects.filter(
        operation__run__in=runs, operation__reversed_by=None, operation__reverses=None, lot__isnull=False
    ).exclude(lot__form__in=(Form.IN_PROCESS, Form.SOLUTION))
    lines = lines.filter(operation__kind__in=(Kind.CHARGE, Kind.DRAW, Kind.FINISH)).order_by("operation_id", "line")
    for line in lines.select_related("operation", "lot"):
        _book(sums[line.operation.run_id], metals[line.operation.run_id], line)
    return {run.pk: _cell(run, metals[run.pk], currents[run.pk], sums[run.pk]) for run in runs}


def cell_of(run: Run) -> Cell:
    """What was read, charged and weighed of one run."""
    return cells_of([run])[run.pk]


def _book(sums: _Sums, metal: str, line: Movement) -> None:
    form, mg = Form(line.lot.form), getattr(line, f"{metal.lower()}_mg")
    if line.side == Side.IN and form in STARTERS:
        sums.starters.append(Weighed(line.operation.at, line.gross_mg))
    elif line.side == Side.IN:
        sums.anodes_mg += mg
    elif form in DEPOSITS[metal]:
        sums.cathodes.append(Weighed(line.operation.at, line.gross_mg))
    else:
        sums.back_mg += mg


def _cell(run: Run, metal: str, currents: list[Current], sums: _Sums) -> Cell:
    return Cell(
        metal=metal,
        began=run.opened_by.at,
        currents=tuple(currents),
        cathodes=tuple(sums.cathodes),
        starters=tuple(sums.starters),
        anodes_mg=sums.anodes_mg,
        back_mg=sums.back_mg,
    )
