"""The life of one lot: who held it where, what was done to it, what it was made of and what was made of it."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from custody.calc.rounding import half_even
from custody.models import Document, Edge, Handover, Lot, Movement, User
from custody.queries import scope
from custody.queries.handovers import how_passed
from custody.terms import COLUMNS, METALS, PPM, DocumentKind, Kind, Side


@dataclass(frozen=True, slots=True)
class Tenure:
    """One person's answering for a lot at one place. ``until`` is empty for the present one.

    ``weighed_mg`` is the check weighing of the handover that began it: empty where it passed at book, and ``how`` says
    why; ``book_mg`` is what the book said then, ``allowed_mg`` what both scales could be off by.
    """

    who: str
    where: str
    since: datetime
    until: datetime | None
    how: str
    book_mg: int
    weighed_mg: int | None
    allowed_mg: int | None = None
    note: str = ""
    operation: str = ""

    @property
    def off_mg(self) -> int | None:
        """Weighed less book, milligrams; nothing where it was not weighed."""
        return None if self.weighed_mg is None else self.weighed_mg - self.book_mg


@dataclass(frozen=True, slots=True)
class Event:
    """One operation that changed a lot: by how much (gross and five metals, mg) and what was in it afterwards.

    A metal is ``None`` while nothing is known of it.
    """

    operation: str
    kind: str
    at: datetime
    by: str
    change_mg: tuple[int | None, ...]
    after_mg: tuple[int, ...]
    reversed_by: str


@dataclass(frozen=True, slots=True)
class Relative:
    """A lot that this one was made of, or that was made of it, by which operation."""

    number: str
    form: str
    gross_mg: int
    operation: str
    kind: str
    at: datetime
    reversed: bool


@dataclass(frozen=True, slots=True)
class Content:
    """One metal of a lot by the book: milligrams, and its fineness in ppm."""

    metal: str
    mg: int
    ppm: int


def contents_of(lot: Lot) -> list[Content]:
    """The metals of a valued lot by the book; nothing is known of an unvalued one."""
    if not lot.valued or not lot.gross_mg:
        return []
    return [
        Content(metal, mg, half_even(mg * PPM, lot.gross_mg))
        for metal, mg in zip(METALS, lot.metals_mg, strict=True)
        if mg
    ]


def custody_line(lot: Lot) -> list[Tenure]:
    """Everyone who answered for a lot, without a gap, the first in front (I4)."""
    made = (
        Movement.objects.filter(lot=lot, operation=lot.created_by_id, side=Side.OUT)
        .select_related("custodian", "place", "operation")
        .first()
    )
    if made is None or made.custodian is None or made.place is None:
        return []
    related = ("to_person", "to_place", "weighing__scale", "countersigned_by")
    handovers = list(Handover.objects.filter(lot=lot).select_related(*related).order_by("id"))
    ends = [handover.at for handover in handovers] + [None if lot.gross_mg else lot.last_at]
    how = "received" if made.operation.kind == Kind.RECEIVE else f"made by {made.operation.kind}"
    line = [
        Tenure(
            str(made.custodian), made.place.name, made.operation.at, ends[0], how, made.gross_mg, None,
            operation=made.operation.number,
        )
    ]  # fmt: skip
    for handover, until in zip(handovers, ends[1:], strict=True):
        allowed = None if handover.allowed_ug is None else handover.allowed_ug // 1000
        line.append(
            Tenure(
                str(handover.to_person), handover.to_place.name, handover.at, until, how_passed(handover),
                handover.book_mg, handover.weighed_mg, allowed, handover.note,
            )
        )  # fmt: skip
    return line


def events_of(lot: Lot) -> list[Event]:
    """Every operation that touched a lot, the first in front, with what was in the lot after it."""
    events: list[Event] = []
    nothing = (0,) * len(COLUMNS)
    before, after, last = nothing, nothing, None
    movements = Movement.objects.filter(lot=lot).order_by("id")
    for movement in movements.select_related("operation", "operation__by", "operation__reversed_by"):
        operation = movement.operation
        if operation.pk == last:
            events.pop()  # a valuation takes the lot whole and gives it back: one event
        else:
            before, last = after, operation.pk
        sign = 1 if movement.side == Side.OUT else -1
        after = tuple(held + sign * mg for held, mg in zip(after, movement.columns_mg, strict=True))
        change = tuple(now - then for now, then in zip(after, before, strict=True))
        if not movement.valued:
            change = (change[0], *(mg or None for mg in change[1:]))
        undone = getattr(operation, "reversed_by", None)
        events.append(
            Event(
                operation=operation.number,
                kind=operation.kind,
                at=operation.at,
                by=str(operation.by),
                change_mg=change,
                after_mg=after,
                reversed_by=undone.number if undone else "",
            )
        )
    return events


def parents_of(lot: Lot) -> list[Relative]:
    """The lots that this one was made of."""
    edges = _edges(Edge.objects.filter(child=lot), "parent")
    return [_relative(edge, edge.parent) for edge in edges]


def children_of(lot: Lot) -> list[Relative]:
    """The lots that were made of this one."""
    edges = _edges(Edge.objects.filter(parent=lot), "child")
    return [_relative(edge, edge.child) for edge in edges]


def papers_of(lot: Lot, viewer: User) -> QuerySet[Document]:
    """Papers about a lot: its own, and those of the receipt that brought it."""
    own = Q(lot=lot)
    if lot.receipt_id != lot.created_by_id:
        own |= Q(operation=lot.created_by_id, kind=DocumentKind.LABELS)
    else:
        own |= Q(operation=lot.created_by_id, kind__in=(DocumentKind.RECEIPT, DocumentKind.LABELS))
    return scope.documents(viewer).filter(own).select_related("issued_by")


def _edges(edges: QuerySet[Edge], far: str) -> QuerySet[Edge]:
    return edges.select_related(far, "operation", "operation__reversed_by").order_by("operation_id", f"{far}_id")


def _relative(edge: Edge, lot: Lot) -> Relative:
    operation = edge.operation
    return Relative(
        number=lot.number,
        form=lot.get_form_display(),
        gross_mg=lot.gross_mg,
        operation=operation.number,
        kind=operation.kind,
        at=operation.at,
        reversed=getattr(operation, "reversed_by", None) is not None,
    )
