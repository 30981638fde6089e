"""Water: the permit's limits of a day, solutions beside them, and the register of what was discharged."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db import connection
from django.db.models import QuerySet

from custody.calc.solutions import Found, Limit, hundredths, litres, milligrams_a_litre, volume_ml, water_ml
from custody.models import EffluentLimit, Lot, Movement, Operation, SolutionAssay, User
from custody.queries import scope, tanks
from custody.terms import METALS, Kind, Side

PH = "pH"


@dataclass(frozen=True, slots=True)
class Beside:
    """One limited substance of a solution beside its limit."""

    limit: Limit
    found: int | None
    below: bool = False

    @property
    def passes(self) -> bool:
        """Whether it was measured and lies within."""
        return self.limit.allows(self.found)

    @property
    def word(self) -> str:
        """Pass or fail, in words."""
        if self.found is None:
            return "not measured"
        return "within" if self.passes else "outside"

    @property
    def found_words(self) -> str:
        """What was found: mg/L, or the pH."""
        if self.found is None:
            return "—"
        return hundredths(self.found) if self.limit.substance == PH else Found(self.found, self.below).words

    @property
    def limit_words(self) -> str:
        """The limit: ``at most 1.900``, ``6.50 to 9.00``."""
        show = hundredths if self.limit.substance == PH else milligrams_a_litre
        if self.limit.least is None:
            return f"at most {show(self.limit.most)}"
        return f"{show(self.limit.least)} to {show(self.limit.most)}"


def limits_on(day: date) -> list[Limit]:
    """The limits of a local day, the latest of each substance, by symbol, pH last."""
    rows = EffluentLimit.objects.filter(valid_from__lte=day)
    return _latest(rows.order_by("substance", "-valid_from", "-id"))


def _latest(rows: Iterable[EffluentLimit]) -> list[Limit]:
    found: dict[str, Limit] = {}
    for row in rows:
        found.setdefault(row.substance, Limit(row.substance, row.least, row.most))
    return sorted(found.values(), key=lambda limit: (limit.substance == PH, limit.substance))


def limits_history() -> QuerySet[EffluentLimit]:
    """Every limit that was set, the latest first."""
    return EffluentLimit.objects.select_related("set_by").order_by("-valid_from", "-id")


def beside(assay: SolutionAssay, limits: Iterable[Limit]) -> list[Beside]:
    """What an assay found beside each limit."""
    figures = tanks.figures_of(assay)
    lines = []
    for limit in limits:
        if limit.substance == PH:
            lines.append(Beside(limit, assay.ph_centi))
        else:
            found = figures.get(limit.substance)
            lines.append(Beside(limit, found.ug_l if found else None, bool(found and found.below)))
    return lines


def assayed_as_it_is(lot: Lot, viewer: User) -> SolutionAssay | None:
    """The accepted assay of a solution as it is now, by the very rule with which the book lets water out."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT (custody_assayed_as_it_is(l)).id FROM custody_lot l WHERE l.id = %s", [lot.pk])
        (found,) = cursor.fetchone()
    return tanks.assays(viewer).filter(pk=found).first() if found else None


def treated(viewer: User) -> list[tuple[Lot, tanks.Volume]]:
    """Solutions in the viewer's custody that could be discharged, lots of their own, each with its volume."""
    lots = list(tanks.solutions_standing(viewer).filter(custodian=viewer)[:100])
    volumes = tanks.volumes_of(lots)
    return [(lot, volumes[lot.pk]) for lot in lots]


@dataclass(frozen=True, slots=True)
class Discharged:
    """One discharge of one lot: litres, the assay it rested on, each figure beside that day's limit, metal lost."""

    operation: Operation
    lot: Lot
    gross_mg: int
    metals_mg: tuple[int, ...]
    assay: SolutionAssay | None
    lines: tuple[Beside, ...]

    @property
    def ml(self) -> int:
        """Millilitres: by the assay's density, or as water in records from before."""
        if self.assay:
            return volume_ml(self.gross_mg, self.assay.density_mg_ml)
        return water_ml((self.gross_mg, *self.metals_mg))

    @property
    def litres(self) -> str:
        """Litres with three decimals."""
        return litres(self.ml)

    @property
    def figures(self) -> str:
        """Every limited substance: found, and its limit."""
        return "; ".join(f"{line.limit.substance} {line.found_words} ({line.limit_words})" for line in self.lines)

    @property
    def metals(self) -> str:
        """The metal that left, by symbol, milligrams."""
        named = [f"{metal} {mg}" for metal, mg in zip(METALS, self.metals_mg, strict=True) if mg]
        return ", ".join(named) or "none"


def discharges(viewer: User) -> QuerySet[Movement]:
    """The lines of lots that were discharged and not taken back, the latest first."""
    recorded = scope.operations(viewer).filter(kind=Kind.DISCHARGE, reversed_by=None)
    lines = Movement.objects.filter(operation__in=recorded, side=Side.IN)
    return lines.select_related("operation__by", "lot").order_by("-id")


def register(lines: Iterable[Movement], viewer: User) -> list[Discharged]:
    """Discharges with the assay that stood then and the limits of that day; the number of queries does not grow."""
    lines = list(lines)
    by_lot: dict[int, list[SolutionAssay]] = {}
    accepted = tanks.assays(viewer).filter(lot__in={line.lot_id for line in lines}, acceptance__isnull=False)
    for assay in accepted.select_related("acceptance__operation"):
        by_lot.setdefault(assay.lot_id, []).append(assay)
    limits = list(EffluentLimit.objects.order_by("substance", "-valid_from", "-id"))
    found = []
    for line in lines:
        before = [assay for assay in by_lot.get(line.lot_id, ()) if assay.acceptance.operation_id < line.operation_id]
        assay = max(before, key=lambda one: one.acceptance.operation_id, default=None)
        then = [
            limit
            for limit in limits
            if limit.valid_from <= line.operation.day and limit.set_at <= line.operation.recorded_at
        ]
        lines_of = tuple(beside(assay, _latest(then))) if assay else ()
        found.append(Discharged(line.operation, line.lot, line.gross_mg, line.columns_mg[1:], assay, lines_of))
    return found
