"""Vessels and tanks as they stand: what each holds, how many litres, how full, since when, at what concentration."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from custody.calc.solutions import Found, concentration_ug_l, litres, mass_mg, metal_mg, volume_ml, water_ml
from custody.models import Lot, Operation, Place, SolutionAssay, SolutionFigure, User, Vessel
from custody.queries import plant, scope
from custody.terms import COLUMNS, Form, PlaceKind

#: What an assay of a solution asks for by name; any other substance may be added.
SUBSTANCES = ("Au", "Ag", "Pt", "Pd", "Cu", "Ni", "Zn", "Pb", "Fe")


@dataclass(frozen=True, slots=True)
class Volume:
    """Millilitres of a solution: by the density of its assay, or as water, which is a guess."""

    ml: int
    assay: SolutionAssay | None

    @property
    def litres(self) -> str:
        """Litres with three decimals."""
        return litres(self.ml)

    @property
    def how(self) -> str:
        """Where the figure comes from."""
        return f"by assay {self.assay.number}" if self.assay else "by weight, as water"


@dataclass(frozen=True, slots=True)
class State:
    """One vessel or tank."""

    place: Place
    vessel: Vessel | None
    run: plant.OpenRun | None
    volume: Volume | None
    standing: tuple[tuple[Lot, Volume], ...]
    waiting: int

    @property
    def content(self) -> Lot | None:
        """What is in process in it."""
        return self.run.content if self.run else None

    @property
    def capacity_ml(self) -> int | None:
        """What it holds at most, where somebody said so."""
        return self.vessel.capacity_ml if self.vessel else None

    @property
    def next(self) -> Place | None:
        """Into which tank it overflows."""
        return self.vessel.overflows_to if self.vessel else None

    @property
    def full_percent(self) -> int | None:
        """How full it is, in whole per cent, rounded down."""
        return self.volume.ml * 100 // self.capacity_ml if self.volume and self.capacity_ml else None

    @property
    def concentrations(self) -> list[tuple[str, int]]:
        """Micrograms a litre of each metal that the book has in it."""
        if not self.volume or self.volume.ml <= 0:
            return []
        metals = zip(COLUMNS[1:], self.content.metals_mg, strict=True)
        return [(metal, concentration_ug_l(mg, self.volume.ml)) for metal, mg in metals if mg]


def states(viewer: User) -> list[State]:
    """Every vessel in use, by code."""
    places = list(plant.places(PlaceKind.VESSEL).select_related("vessel__overflows_to"))
    runs = {run.content.place_id: run for run in plant.open_runs(viewer)}
    kept = list(solutions_standing(viewer).filter(place__kind=PlaceKind.VESSEL))
    volumes = volumes_of([*(run.content for run in runs.values()), *kept])
    standing = defaultdict(list)
    for lot in kept:
        standing[lot.place_id].append((lot, volumes[lot.pk]))
    waiting = defaultdict(int)
    for lot in waiting_assays(viewer).values_list("lot_id", flat=True):
        waiting[lot] += 1
    return [
        State(
            place,
            getattr(place, "vessel", None),
            run := runs.get(place.pk),
            volumes[run.content.pk] if run else None,
            tuple(standing[place.pk]),
            waiting[run.content.pk] if run else 0,
        )
        for place in places
    ]


def volume_of(lot: Lot) -> Volume:
    """How many millilitres a solution or a content has, by the density of its last accepted assay or as water."""
    return _volume(lot, _standing_assays([lot]).get(lot.pk))


def volumes_of(lots: Iterable[Lot]) -> dict[int, Volume]:
    """As ``volume_of`` for many, by lot, in one query."""
    lots = list(lots)
    assays_ = _standing_assays(lots)
    return {lot.pk: _volume(lot, assays_.get(lot.pk)) for lot in lots}


def _volume(lot: Lot, assay: SolutionAssay | None) -> Volume:
    if assay:
        return Volume(volume_ml(lot.gross_mg, assay.density_mg_ml), assay)
    return Volume(water_ml(lot.columns_mg), None)


def _standing_assays(lots: Iterable[Lot]) -> dict[int, SolutionAssay]:
    """The last assay of each lot whose acceptance stands, by lot."""
    accepted = _with_standing(SolutionAssay.objects.filter(lot__in=[lot.pk for lot in lots])).filter(stands=True)
    return {assay.lot_id: assay for assay in accepted.order_by("id")}


def _with_standing(assays: QuerySet[SolutionAssay]) -> QuerySet[SolutionAssay]:
    """With ``stands``: accepted, and the acceptance not reversed."""
    reversed_ = Operation.objects.filter(reverses=OuterRef("acceptance__operation"))
    return assays.filter(acceptance__isnull=False).annotate(stands=~Exists(reversed_))


def solutions_standing(viewer: User) -> QuerySet[Lot]:
    """Solutions that are lots of their own, with anything in them."""
    found = scope.lots(viewer).filter(form=Form.SOLUTION, gross_mg__gt=0)
    return found.select_related("place", "custodian").order_by("place__code", "id")


def assays(viewer: User) -> QuerySet[SolutionAssay]:
    """Assays of solutions that the viewer may see, the latest first, with their figures."""
    seen = SolutionAssay.objects.filter(lot__in=scope.lots(viewer))
    figures = Prefetch("figures", queryset=SolutionFigure.objects.order_by("id"))
    joined = seen.select_related("lot__place", "by", "acceptance__by", "acceptance__operation__reversed_by")
    return joined.prefetch_related(figures).order_by("-id")


def waiting_assays(viewer: User) -> QuerySet[SolutionAssay]:
    """Assays that nobody accepted, of solutions that still hold something; what a later one overtook is left out."""
    later = SolutionAssay.objects.filter(lot=OuterRef("lot"), acceptance__isnull=False, at__gt=OuterRef("at"))
    found = assays(viewer).filter(acceptance=None, lot__gross_mg__gt=0)
    return found.filter(~Exists(later)).order_by("id")


def figures_of(assay: SolutionAssay) -> dict[str, Found]:
    """What an assay found, by substance."""
    return {figure.substance: Found(figure.ug_l, figure.below) for figure in assay.figures.all()}


def changes_by(assay: SolutionAssay) -> list[dict]:
    """What the acceptance of an assay would change, column by column, milligrams: custody_solution_holds() in words."""
    figures, nothing = figures_of(assay), Found(0)
    metals = [metal_mg(assay.volume_ml, figures.get(metal, nothing).ug_l) for metal in COLUMNS[1:]]
    found = (mass_mg(assay.volume_ml, assay.density_mg_ml), *metals)
    return [
        {"what": column, "book_mg": book, "found_mg": mg, "change_mg": mg - book}
        for column, book, mg in zip(COLUMNS, assay.lot.columns_mg, found, strict=True)
        if book or mg
    ]
