"""What a run's page says beside its book: what was charged, what was drawn at its last assay, and its order."""

from collections.abc import Sequence

from custody.calc.balance import total
from custody.calc.rules import rule_for
from custody.calc.runs import Losing, Outlook, losing_of, outlook_of
from custody.models import Lot, Movement, RouteOrderWork, Run
from custody.terms import COLUMNS, Form, Kind, Side

_NOTHING = (0,) * len(COLUMNS)


def charged_mg(run: Run) -> tuple[int, ...]:
    """Gross and metals that were charged into a run, milligrams; contents charged again are not counted twice."""
    lines = _standing(run, Kind.CHARGE).filter(side__in=(Side.IN, Side.ADD)).select_related("lot")
    return total([line.columns_mg for line in lines if not (line.lot and line.lot.form == Form.IN_PROCESS)]) or _NOTHING


def drawn_mg(run: Run, forms: Sequence[str]) -> tuple[int, ...]:
    """Gross and metals of what was drawn of a run in these forms, each lot as its last valuation has it, milligrams."""
    drawn = {line.lot_id: line for line in _standing(run, Kind.DRAW).filter(side=Side.OUT, lot__form__in=forms)}
    valued = Movement.objects.filter(side=Side.OUT, lot__in=list(drawn), operation__kind=Kind.VALUE)
    for line in valued.filter(operation__reversed_by=None).order_by("id"):
        drawn[line.lot_id] = line
    return total([line.columns_mg for line in drawn.values()]) or _NOTHING


def outlook(run: Run) -> Outlook | None:
    """The yield of a run so far beside the least that its step's rule expects; None where none is expected."""
    rule = rule_for(run.step)
    return outlook_of(rule, charged_mg(run), drawn_mg(run, rule.product_forms)) if rule.least_yield_ppm else None


def losing(content: Lot) -> tuple[Losing, ...]:
    """What a finish may declare lost of what the book still has in a run's content."""
    return losing_of(rule_for(content.run.step), charged_mg(content.run), content.columns_mg)


def work_of(run: Run) -> RouteOrderWork | None:
    """The order, and its station, on which a run is work: as its last charge said."""
    works = RouteOrderWork.objects.filter(operation__run=run, operation__kind=Kind.CHARGE)
    return works.select_related("order").order_by("-id").first()


def _standing(run: Run, kind: Kind):
    return Movement.objects.filter(operation__run=run, operation__kind=kind, operation__reversed_by=None)
