"""What a dispatch comes to before it is recorded, and what left with one that is."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, QuerySet, Sum

from custody.calc.balance import total
from custody.models import Bar, Box, Document, Lot, MetalAccount, Movement, Operation, Party, User
from custody.queries import scope
from custody.queries.boxes import closed_boxes_of, torn
from custody.terms import METALS, Against, Clearance, DocumentKind, Form, Kind, Side


@dataclass(frozen=True, slots=True)
class ClaimLine:
    """One metal of the party's account with a delivery, milligrams."""

    metal: str
    before_mg: int
    delivered_mg: int

    @property
    def after_mg(self) -> int:
        """What the house owes afterwards; negative, the claim is too small."""
        return self.before_mg - self.delivered_mg


@dataclass(frozen=True, slots=True)
class CoverLine:
    """One metal of the house after a sale, milligrams."""

    metal: str
    held_mg: int
    owed_mg: int

    @property
    def over_mg(self) -> int:
        """What the house holds beyond its debts; negative, it would owe more than it holds."""
        return self.held_mg - self.owed_mg


@dataclass(frozen=True, slots=True)
class Leaving:
    """One lot that is to leave, what stands in its way (empty: nothing), and the closed box that it lies in."""

    lot: Lot
    obstacle: str
    box: Box | None = None


@dataclass(frozen=True, slots=True)
class Outlook:
    """A dispatch as it would be recorded now. ``beside`` is what bars that pay a claim hold of other metals."""

    lots: tuple[Leaving, ...]
    sum_mg: tuple[int, ...]
    claims: tuple[ClaimLine, ...]
    cover: tuple[CoverLine, ...]
    beside: tuple[tuple[str, int], ...] = ()

    @property
    def stops(self) -> bool:
        """Whether the book would refuse it as it stands."""
        too_small = any(line.after_mg < 0 for line in self.claims if line.delivered_mg)
        return too_small or any(leaving.obstacle for leaving in self.lots) or any(c.over_mg < 0 for c in self.cover)


def outlook(lots: Sequence[Lot], party: Party, against: Against, viewer: User) -> Outlook:
    """What sending these lots to the party comes to: what stands in the way, its claims, and what covers the rest.

    The book itself decides when it is recorded; this says the same beforehand.
    """
    of_house = [lot for lot in lots if lot.owner_id is None]
    paying = [_paying(lot) if against == Against.CLAIM else (0,) * len(METALS) for lot in of_house]
    delivered = dict(zip(METALS, (sum(each) for each in zip(*paying, strict=True)), strict=True)) if paying else {}
    house = total(lot.columns_mg for lot in of_house)[1:]
    beside = [mg - delivered.get(metal, 0) for metal, mg in zip(METALS, house, strict=True)]
    claims = dict(MetalAccount.objects.filter(party=party).values_list("metal", "balance_mg"))
    boxes, broken = closed_boxes_of(lots), torn(lots)
    return Outlook(
        lots=tuple(
            Leaving(lot, _obstacle(lot, party, against, viewer) or _torn(lot, boxes, broken), boxes.get(lot.pk))
            for lot in lots
        ),
        sum_mg=total(lot.columns_mg for lot in lots),
        claims=tuple(
            ClaimLine(metal, claims.get(metal, 0), delivered.get(metal, 0))
            for metal in METALS
            if claims.get(metal) or delivered.get(metal)
        ),
        cover=tuple(_cover(house, beside)),
        beside=tuple((metal, mg) for metal, mg in zip(METALS, beside, strict=True) if mg and against == Against.CLAIM),
    )


def to_weigh(numbers: Iterable[str]) -> list[str]:
    """Which of these lots are weighed as they leave: those that are no bar with a serial, in the same order."""
    bars = set(
        Bar.objects.filter(lot__number__in=numbers, cancelled_by__isnull=True).values_list("lot__number", flat=True)
    )
    return [number for number in numbers if number not in bars]


def _paying(lot: Lot) -> tuple[int, ...]:
    """What of each metal a claim is paid with: of a bar of a type its type's metal alone (sql/titles.sql)."""
    bar = getattr(lot, "bar", None)
    if bar is None or bar.bar_type is None or bar.cancelled_by_id:
        return lot.metals_mg
    return tuple(mg if metal == bar.bar_type.metal else 0 for metal, mg in zip(METALS, lot.metals_mg, strict=True))


def _torn(lot: Lot, boxes: dict[int, Box], broken: tuple[Lot, Box] | None) -> str:
    box = boxes.get(lot.pk)
    if broken and box == broken[1]:
        return f"in closed box {box}, of which other bars stay: send it whole, or open it"
    return ""


def _obstacle(lot: Lot, party: Party, against: Against, viewer: User) -> str:
    if not lot.gross_mg:
        return "empty: nothing of it is left"
    if lot.clearance != Clearance.RELEASED:
        return "not released by compliance"
    if lot.custodian_id != viewer.pk:
        return f"in the custody of {lot.custodian}: have it handed over first"
    if lot.form == Form.IN_PROCESS:
        return "the content of a vessel"
    if lot.owner_id and lot.owner_id != party.pk:
        return f"belongs to {lot.owner.name}"
    if against == Against.OWN and not lot.owner_id:
        return "belongs to the house: send it against a claim, or as sold"
    return ""


def _cover(house: Sequence[int], beside: Sequence[int]) -> Iterator[CoverLine]:
    """Every metal that leaves without paying a claim, once all of ``house`` has left."""
    held = Lot.objects.filter(owner__isnull=True, gross_mg__gt=0).aggregate(
        **{metal: Sum(f"{metal.lower()}_mg", default=0) for metal in METALS}
    )
    owed = dict(MetalAccount.objects.values_list("metal").annotate(Sum("balance_mg")).order_by())
    for metal, mg, unpaid in zip(METALS, house, beside, strict=True):
        if unpaid and owed.get(metal):
            yield CoverLine(metal, held[metal] - mg, owed[metal] - (mg - unpaid))


def dispatches(viewer: User) -> QuerySet[Operation]:
    """Dispatches, the latest first."""
    return scope.operations(viewer).filter(kind=Kind.DISPATCH).select_related("party", "by").order_by("-id")


@dataclass(frozen=True, slots=True)
class Left:
    """One lot that left with a dispatch, as it left; ``certificate`` of its bar for the party, if it is issued.

    The metals of a lot that no assay valued are not known.
    """

    lot: Lot
    bar: Bar | None
    columns_mg: tuple[int | None, ...]
    certificate: Document | None


def left_with(dispatch: Operation, viewer: User) -> list[Left]:
    """What left with a dispatch, in the order in which it was named."""
    lines = dispatch.movements.filter(side=Side.IN).select_related("lot__bar").order_by("line")
    papers = scope.documents(viewer).filter(
        kind=DocumentKind.CERTIFICATE, party=dispatch.party, lot__movements__operation=dispatch
    )
    certificates = {paper.lot_id: paper for paper in papers.order_by("id")}
    unknown = (None,) * len(METALS)
    return [
        Left(
            line.lot,
            getattr(line.lot, "bar", None),
            line.columns_mg if line.valued else (line.gross_mg, *unknown),
            certificates.get(line.lot_id),
        )
        for line in lines
    ]


def bars_without_certificate(dispatch: Operation) -> list[Bar]:
    """Bars that left with a dispatch and have no certificate for the party that got them."""
    issued = Document.objects.filter(kind=DocumentKind.CERTIFICATE, party=dispatch.party, lot=OuterRef("lot"))
    left = Movement.objects.filter(operation=dispatch, side=Side.IN).values("lot")
    return list(Bar.objects.filter(~Exists(issued), lot__in=left, cancelled_by__isnull=True).select_related("lot"))


def receiver_of(lot: Lot) -> Party | None:
    """The party that a lot left to; None for a lot in the house."""
    if lot.gross_mg:
        return None
    last = Movement.objects.select_related("operation__party").get(pk=lot.last_movement)
    return last.operation.party if last.operation.kind == Kind.DISPATCH else None
