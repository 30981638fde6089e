"""Boxes of bars under seal: what lies in them, and which lots a scanned box stands for."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Q, QuerySet
from django.db.models.functions import Upper

from custody.models import Box, BoxBar, BoxOpening, Lot, Movement, Party, User
from custody.queries import scope
from custody.terms import Kind


def closed() -> QuerySet[Box]:
    """Boxes whose seal was not broken here; those that left the house among them."""
    return Box.objects.filter(opening__isnull=True)


def closed_boxes_of(lots: Iterable[Lot]) -> dict[int, Box]:
    """The closed box that each of these lots lies in, by the lot's id; lots in none are left out."""
    lines = BoxBar.objects.filter(lot__in=lots, box__opening__isnull=True).select_related("box")
    return {line.lot_id: line.box for line in lines}


def torn(lots: Iterable[Lot]) -> tuple[Lot, Box] | None:
    """A lot of these whose closed box holds another bar that is not among them, with that box; None where all go whole.

    PostgreSQL asks the same at the end (sql/bars.sql), so that a person is told at once.
    """
    lots = list(lots)
    named, of_lot = {lot.pk for lot in lots}, closed_boxes_of(lots)
    inside = defaultdict(set)
    for box, lot in BoxBar.objects.filter(box__in=of_lot.values(), lot__gross_mg__gt=0).values_list("box", "lot"):
        inside[box].add(lot)
    for lot in lots:
        box = of_lot.get(lot.pk)
        if box and not inside[box.pk] <= named:
            return lot, box
    return None


def unboxed(codes: Iterable[str], viewer: User) -> dict[str, list[Lot]]:
    """What codes that name a closed box in the house, by number or seal, stand for: its bars, in their order."""
    spellings = {code.strip().upper(): code for code in codes if code and "\0" not in code}
    found: dict[str, list[Lot]] = {}
    seals = scope.boxes(viewer).annotate(upper_seal=Upper("seal")).filter(opening__isnull=True)
    for box in seals.filter(Q(number__in=spellings) | Q(upper_seal__in=spellings)) if spellings else ():
        code = spellings.get(box.number) or spellings.get(box.seal.upper())
        lots = scope.lots(viewer).filter(boxed__box=box, gross_mg__gt=0).order_by("boxed__position")
        if lots := list(lots.select_related("custodian", "place", "bar", "owner")):
            found[code] = lots
    return found


@dataclass(frozen=True, slots=True)
class BoxStanding:
    """A box as it stands: how many bars, their gross and fine in milligrams, and where it is in words."""

    box: Box
    lots: tuple[Lot, ...]

    @property
    def bars(self) -> int:
        """How many bars were packed."""
        return len(self.lots)

    @property
    def inside(self) -> tuple[Lot, ...]:
        """Its bars that are in the house."""
        return tuple(lot for lot in self.lots if lot.gross_mg)

    @property
    def gross_mg(self) -> int:
        """Gross of the bars that are in the house, milligrams."""
        return sum(lot.gross_mg for lot in self.lots)

    @property
    def state(self) -> str:
        """Closed, opened, or left closed."""
        if hasattr(self.box, "opening"):
            return "opened"
        return "closed" if self.inside else "left the house closed"


def standing(found: Iterable[Box], viewer: User) -> list[BoxStanding]:
    """These boxes with their bars as they are now."""
    found = list(found)
    lots = defaultdict(list)
    lines = BoxBar.objects.filter(box__in=found, lot__in=scope.lots(viewer))
    for line in lines.select_related("lot__bar__bar_type", "lot__custodian", "lot__place").order_by("box", "position"):
        lots[line.box_id].append(line.lot)
    return [BoxStanding(box, tuple(lots[box.pk])) for box in found]


def latest(viewer: User) -> QuerySet[Box]:
    """Boxes, the newest in front."""
    return scope.boxes(viewer).select_related("place", "by", "opening__by").order_by("-id")


def receiver_of_box(box: Box) -> Party | None:
    """The party that a box left to, closed; None for one that is in the house, or was opened here."""
    if BoxOpening.objects.filter(box=box).exists() or Lot.objects.filter(boxed__box=box, gross_mg__gt=0).exists():
        return None
    lot = Lot.objects.filter(boxed__box=box).first()
    operation = Movement.objects.select_related("operation__party").get(pk=lot.last_movement).operation
    return operation.party if operation.kind == Kind.DISPATCH else None


def named(code: str, viewer: User) -> Box | None:
    """The box with this number or seal, whatever became of it; None where there is none."""
    code = code.strip().upper()
    found = scope.boxes(viewer).select_related("place", "by", "opening__by").annotate(upper_seal=Upper("seal"))
    return found.filter(Q(number=code) | Q(upper_seal=code)).first()
