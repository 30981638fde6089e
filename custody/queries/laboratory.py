"""What waits in the laboratory: lots without an assay, their samples, determinations, and what accepting one does."""

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from custody.calc.fineness import fine_mg
from custody.models import Determination, Document, Edge, Lot, User
from custody.queries import scope
from custody.queries.exchanges import exchange_due
from custody.queries.recovery import gathered
from custody.queries.worksheets import worked_on_by
from custody.terms import METALS, DocumentKind, Form


def unvalued(viewer: User) -> QuerySet[Lot]:
    """Lots with mass and without metals in the book, what clean-outs gathered too.

    Each with the edges to its samples (``sample_edges``). ``exchange_terms`` is not empty where the lot's assays are
    exchanged with its party.
    """
    known = Q(valued=True) & ~Q(pk__in=gathered(viewer).values("pk"))
    waiting = scope.lots(viewer).filter(gross_mg__gt=0).exclude(known | Q(form__in=(Form.SAMPLE, Form.IN_PROCESS)))
    drawn = Edge.objects.filter(child__form=Form.SAMPLE, child__gross_mg__gt=0).select_related("child__custodian")
    return (
        waiting.select_related("place", "custodian", "receipt__party", "exchange")
        .annotate(exchange_terms=exchange_due())
        .prefetch_related(Prefetch("child_edges", queryset=drawn.order_by("child_id"), to_attr="sample_edges"))
        .order_by("id")
    )


def samples_of(lot: Lot, viewer: User) -> QuerySet[Lot]:
    """The samples drawn from a lot, consumed ones too, the latest first."""
    drawn = Edge.objects.filter(parent_id=lot.pk).values("child_id")
    return scope.lots(viewer).filter(form=Form.SAMPLE, pk__in=drawn).order_by("-id")


def determinations(viewer: User) -> QuerySet[Determination]:
    """Determinations of the lots that the viewer may see."""
    seen = Determination.objects.filter(lot__in=scope.lots(viewer))
    return seen.select_related("lot", "sample", "by", "acceptance__by", "repeat__by", "worksheet")


def waiting(viewer: User) -> QuerySet[Determination]:
    """Determinations that nobody accepted or turned down, and that no later one of the lot has overtaken.

    ``worked``: whether the viewer worked on what it rests on, and so does not accept it.
    """
    later = Determination.objects.filter(lot=OuterRef("lot"), pk__gt=OuterRef("pk"), acceptance__isnull=False)
    found = determinations(viewer).annotate(worked=worked_on_by(viewer))
    return found.filter(~Exists(later), acceptance=None, repeat=None).order_by("id")


def acceptable(viewer: User) -> QuerySet[Determination]:
    """As ``waiting``, without what can't be accepted because the lot's assays are exchanged with its party first."""
    return _free(waiting(viewer))


def exchanged_first(determination: Determination) -> bool:
    """Whether a determination can't be accepted because its lot's assays are exchanged with the party first."""
    return not _free(Determination.objects.filter(pk=determination.pk)).exists()


def _free(found: QuerySet[Determination]) -> QuerySet[Determination]:
    free = Q(lot__exchange=None, exchange_terms=None) | Q(lot__valued=True) | Q(exchange__isnull=False)
    return found.annotate(exchange_terms=exchange_due("lot")).filter(free)


def accepted(viewer: User) -> QuerySet[Determination]:
    """Accepted determinations, the latest first."""
    return determinations(viewer).filter(acceptance__isnull=False).order_by("-acceptance__id")


def certificates(determination: Determination, viewer: User) -> QuerySet[Document]:
    """The certificates issued of a determination, the first one first."""
    issued = scope.documents(viewer).filter(kind=DocumentKind.ASSAY, lot=determination.lot)
    return issued.filter(title__endswith=f" {determination.number}").order_by("copy_no")


@dataclass(frozen=True, slots=True)
class Change:
    """One metal of a lot, as the book has it and as an acceptance would make it, milligrams and ppm."""

    metal: str
    ppm: int
    before_mg: int | None
    after_mg: int

    @property
    def difference_mg(self) -> int:
        """What the acceptance adds to the book (negative: takes from it)."""
        return self.after_mg - (self.before_mg or 0)


def changes(determination: Determination) -> list[Change]:
    """What accepting a determination would make of its lot now: fine = gross × fineness, rounded once half to even."""
    lot = determination.lot
    return [
        Change(metal, ppm, before if lot.valued else None, fine_mg(lot.gross_mg, ppm))
        for metal, ppm, before in zip(METALS, determination.ppm, lot.metals_mg, strict=True)
    ]
