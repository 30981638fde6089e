"""What the batch planner stands on: the plant's settings of a day, lots that could be worked, faults, orders."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from django.db import connection
from django.db.models import CharField, Exists, F, Func, OuterRef, Prefetch, Q, QuerySet

from custody.calc.blend import BlendLimits, Feed
from custody.calc.charge import Acid, Practice, SilverWay
from custody.calc.route import Limits
from custody.errors import refusal_named
from custody.models import Document, Lot, PlantSettings, RouteOrder, RouteOrderLot, RouteOrderWork, User
from custody.queries import scope
from custody.queries.plant import PLANT
from custody.terms import PPM, Clearance, DocumentKind, Form

#: The last station of an order.
_LAST_STATION = Func(F("steps"), template="(%(expressions)s)[cardinality(%(expressions)s)]", output_field=CharField())

#: What is no feed of a route: samples, contents of vessels, liquors, finished bars.
NO_FEED = (Form.SAMPLE, Form.IN_PROCESS, Form.SOLUTION, Form.BAR)


def settings_on(day: date) -> PlantSettings:
    """The settings in force on a local day; the defaults (not saved) where nobody set any."""
    return PlantSettings.objects.filter(valid_from__lte=day).first() or PlantSettings()


def settings_history() -> QuerySet[PlantSettings]:
    """Every row of settings, the latest first."""
    return PlantSettings.objects.select_related("set_by")


def limits_of(settings: PlantSettings) -> Limits:
    """The route's limits. Raises ``Refused`` where they contradict each other."""
    return Limits(
        least_gold_ppm=settings.least_gold_ppm,
        direct_silver_ppm=settings.direct_silver_ppm,
        crust_silver_ppm=settings.crust_silver_ppm,
        silver_feed_ppm=settings.silver_feed_ppm,
        gold_share=Fraction(settings.gold_share_ppm, PPM),
        precipitated_ppm=settings.precipitated_ppm,
    )


def blend_limits_of(settings: PlantSettings) -> BlendLimits:
    """What a batch must keep."""
    most = () if settings.batch_silver_ppm is None else (("Ag", settings.batch_silver_ppm),)
    least = () if settings.batch_gold_ppm is None else (("Au", settings.batch_gold_ppm),)
    return BlendLimits(settings.batch_gross_mg, most, least)


def practice_of(settings: PlantSettings) -> Practice:
    """The plant's acids and excess factors. Raises ``Refused`` for an acid without strength or density."""
    return Practice(
        nitric=Acid(settings.nitric_strength_ppm, settings.nitric_density),
        hydrochloric=Acid(settings.hydrochloric_strength_ppm, settings.hydrochloric_density),
        excess_ppm={
            "HNO3": settings.nitric_excess_ppm,
            "HCl": settings.hydrochloric_excess_ppm,
            "Na2S2O5": settings.metabisulfite_excess_ppm,
            "NaCl": settings.salt_excess_ppm,
            "NaOH": settings.caustic_excess_ppm,
            "C6H12O6": settings.glucose_excess_ppm,
            "Cu": settings.copper_excess_ppm,
            "Fe": settings.iron_excess_ppm,
            "NH4Cl": settings.ammonium_excess_ppm,
            "C4H8N2O2": settings.glyoxime_excess_ppm,
        },
        silver_way=SilverWay(settings.silver_way),
    )


def candidates(viewer: User) -> QuerySet[Lot]:
    """Released and valued lots that stand in the plant and could go into a batch, the oldest first."""
    standing = scope.lots(viewer).filter(
        gross_mg__gt=0, valued=True, clearance=Clearance.RELEASED, place__kind__in=PLANT
    )
    found = standing.exclude(form__in=NO_FEED)
    return found.select_related("owner", "custodian", "place", "created_by").order_by("created_by__at", "id")


def within(lots: QuerySet[Lot], least_gold_ppm: int | None, most_silver_ppm: int | None) -> QuerySet[Lot]:
    """Lots of at least so much gold and at most so much silver, by the book; None asks nothing."""
    if least_gold_ppm is not None:
        lots = lots.alias(gold=F("au_mg") * PPM).filter(gold__gte=F("gross_mg") * least_gold_ppm)
    if most_silver_ppm is not None:
        lots = lots.alias(silver=F("ag_mg") * PPM).filter(silver__lte=F("gross_mg") * most_silver_ppm)
    return lots


def feed_of(lot: Lot) -> Feed:
    """A lot as the planner reckons it."""
    return Feed(lot.number, lot.gross_mg, lot.metals_mg)


def mixing_faults(lots: Iterable[Lot]) -> dict[str, str]:
    """Why these lots may not be merged (I7), by lot, in the words of the book's own rule; empty where they may."""
    ids = [lot.pk for lot in lots]
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT code, said, detail FROM custody_mixing_faults("
            "(SELECT array_agg(l ORDER BY l.id) FROM custody_lot l WHERE l.id = ANY(%s)))",
            [ids],
        )
        rows = cursor.fetchall()
    found = {}
    for code, said, detail in rows:
        refusal = refusal_named(code, said, _read(detail))
        found[refusal.detail["lot"]] = refusal.sentence
    return found


def _read(detail: str | dict) -> dict:
    return json.loads(detail) if isinstance(detail, str) else detail


@dataclass(frozen=True, slots=True)
class Standing:
    """How an order stands: ``word`` for a screen; ``open`` while somebody is still to work it."""

    word: str
    tone: str
    open: bool


def orders(viewer: User) -> QuerySet[RouteOrder]:
    """Route orders that the viewer may see, the latest first, with their lots."""
    later = RouteOrderLot.objects.filter(
        order_id__gt=OuterRef("pk"),
        lot__in=RouteOrderLot.objects.filter(order=OuterRef(OuterRef("pk"))).values("lot"),
    )
    found = scope.route_orders(viewer).annotate(replaced=Exists(later)).select_related("ordered_by", "settings")
    work = RouteOrderWork.objects.filter(operation__reversed_by__isnull=True).select_related("operation__by")
    works = Prefetch("works", work.prefetch_related("operation__created_lots"), to_attr="standing_works")
    return found.prefetch_related("lines__lot__custodian", "lines__lot__place", "lines__lot__owner", works)


def open_orders(viewer: User) -> QuerySet[RouteOrder]:
    """Orders that were not replaced, of whose lots something is left, or whose last station is still to be worked."""
    left = RouteOrderLot.objects.filter(order=OuterRef("pk"), lot__gross_mg__gt=0)
    work = RouteOrderWork.objects.filter(order=OuterRef("pk"), operation__reversed_by__isnull=True)
    under_way = Q(Exists(work)) & ~Q(Exists(work.filter(station=OuterRef("last"))))
    return orders(viewer).annotate(last=_LAST_STATION).filter(Q(Exists(left)) | under_way, replaced=False)


def standing_of(order: RouteOrder) -> Standing:
    """Open, begun, worked or replaced: by what the book holds of its lots now, and by the work recorded on it."""
    lines = list(order.lines.all())
    done = {work.station for work in order.standing_works}
    if order.replaced:
        return Standing("replaced", "plain", False)
    if not any(line.lot.gross_mg for line in lines) and (not done or order.steps[-1] in done):
        return Standing("worked", "good", False)
    if done or any(line.lot.gross_mg != line.gross_mg for line in lines):
        return Standing("begun", "wait", True)
    return Standing("open", "wait", True)


def papers_of(order: RouteOrder, viewer: User) -> Sequence[Document]:
    """The batch sheets issued for an order, the latest first."""
    return list(scope.documents(viewer).filter(kind=DocumentKind.BATCH_SHEET, title=sheet_title(order)))


def sheet_title(order: RouteOrder) -> str:
    """What every copy of an order's sheet is called."""
    return f"Batch sheet {order.number}"
