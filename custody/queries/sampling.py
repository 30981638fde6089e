"""The sampler's desk: parcels that await melting, which of them may be melted together, and where each sample is."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import CharField, Count, F, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce

from custody.models import Edge, Lot, Operation, Place, SampleSeal, User
from custody.queries import scope
from custody.queries.recovery import gathered
from custody.terms import Clearance, Form, PlaceKind, SamplePurpose

#: Forms that a melt on receipt does not take: what it leaves behind, and what stands in a vessel.
_NOT_MELTED = (Form.SAMPLE, Form.SLAG, Form.IN_PROCESS)

#: Samples that are kept, and those that leave with the customer.
KEPT = (SamplePurpose.RESERVE, SamplePurpose.UMPIRE, SamplePurpose.CUSTOMER)


# Melting


@dataclass(frozen=True, slots=True)
class Meltable:
    """Parcels of one receipt: those that may be melted together now, and the others, each with the reason."""

    together: list[Lot]
    apart: list[tuple[Lot, str]]


def to_melt(viewer: User) -> QuerySet[Lot]:
    """Lots with mass and without an assay, the oldest first; each with how many samples of it there are (``drawn``)."""
    waiting = scope.lots(viewer).filter(gross_mg__gt=0, valued=False).exclude(form__in=_NOT_MELTED)
    return _with_samples(waiting)


def _with_samples(lots: QuerySet[Lot]) -> QuerySet[Lot]:
    drawn = Edge.objects.filter(parent=OuterRef("pk"), child__form=Form.SAMPLE, child__gross_mg__gt=0)
    counted = drawn.values("parent").annotate(count=Count("child", distinct=True)).values("count")
    return (
        lots.annotate(drawn=Coalesce(Subquery(counted), Value(0)))
        .select_related("place", "custodian", "receipt")
        .order_by("id")
    )


def parcels_of(receipt: Operation, viewer: User) -> list[Lot]:
    """What is left of a receipt without an assay."""
    return list(to_melt(viewer).filter(receipt=receipt).select_related("owner"))


def meltable(lots: list[Lot], named: list[str], viewer: User) -> Meltable:
    """Sorts parcels of one receipt: the first one that can be worked says which others may go with it (I7).

    ``named`` are the numbers that were asked for; they come first.
    """
    lots = sorted(lots, key=lambda lot: lot.number not in named)
    first = next((lot for lot in lots if not _not_now(lot, viewer)), None)
    together, apart = [], []
    for lot in lots:
        why = _not_now(lot, viewer) or (_not_with(lot, first) if first else "")
        if why:
            apart.append((lot, why))
        else:
            together.append(lot)
    return Meltable(together, apart)


def _not_now(lot: Lot, viewer: User) -> str:
    """Why nobody, or not this person, may melt a lot at all."""
    if lot.clearance == Clearance.HELD:
        return "Held by compliance: nobody may work it until it is released."
    if lot.custodian_id != viewer.pk:
        return f"In the custody of {lot.custodian}: have it handed over first."
    return ""


def _not_with(lot: Lot, first: Lot) -> str:
    """Why a parcel may not be melted with another of its receipt before its assay (I7, sql/mixing.sql)."""
    if lot.receipt_id != first.receipt_id:
        return f"Of another receipt than {first.number}. Melted alone, or after its assay."
    if _origin(lot) != _origin(first):
        return (
            f"Declared origin {_words(lot)}, not {_words(first)} as {first.number}: melted alone, or after its assay."
        )
    if lot.owner_id != first.owner_id or lot.pooled != first.pooled:
        return f"Another owner than {first.number}. Melted alone, or after its assay."
    if lot.clearance != first.clearance:
        return f"{Clearance(lot.clearance).label.capitalize()}, {first.number}: {first.clearance}. Melted alone."
    return ""


def _origin(lot: Lot) -> str:
    return lot.declared_origin if lot.amended_origin is None else lot.amended_origin


def _words(lot: Lot) -> str:
    return ", ".join(filter(None, _origin(lot).split("|"))) or "none"


# Samples


@dataclass(frozen=True, slots=True)
class SampleState:
    """A sample as it lies now: the seal and purpose that were put on it last, and since when."""

    lot: Lot
    of: str
    cut: str
    purpose: str
    seal: str
    since: datetime
    position: str = ""
    witness: str = ""


def samples(viewer: User) -> QuerySet[Lot]:
    """Samples with something left, each with the lot that it came from, and its last purpose and seal."""
    last = SampleSeal.objects.filter(lot=OuterRef("pk")).order_by("-id")
    drawn = Edge.objects.filter(child=OuterRef("pk"), operation=OuterRef("created_by"))
    return (
        scope.lots(viewer)
        .filter(form=Form.SAMPLE, gross_mg__gt=0)
        .annotate(
            of=Subquery(drawn.values("parent__number")[:1]),
            of_mg=Subquery(drawn.values("parent__gross_mg")[:1]),
            now_for=Coalesce(
                Subquery(last.values("purpose")[:1]),
                F("sample__purpose"),
                Value(SamplePurpose.LABORATORY),
                output_field=CharField(),
            ),
            seal_now=Coalesce(Subquery(last.values("seal")[:1]), F("sample__seal"), Value("")),
            since=Coalesce(Subquery(last.values("at")[:1]), F("created_by__at")),
        )
        .select_related("place", "custodian", "sample")
        .order_by("id")
    )


def to_carry(viewer: User) -> QuerySet[Lot]:
    """Samples for the laboratory that are not there yet."""
    return samples(viewer).filter(now_for=SamplePurpose.LABORATORY).exclude(place__kind=PlaceKind.LABORATORY)


def kept(viewer: User) -> QuerySet[Lot]:
    """Reserve, umpire and customers' samples."""
    return samples(viewer).filter(now_for__in=KEPT)


def remainders(viewer: User) -> QuerySet[Lot]:
    """Laboratory samples that have done their work: their lot has its metals, or was melted away without them."""
    there = samples(viewer).filter(now_for=SamplePurpose.LABORATORY, place__kind=PlaceKind.LABORATORY)
    of_gathered = Edge.objects.filter(parent__in=gathered(viewer)).values("child")
    return there.filter(Q(valued=True) & ~Q(pk__in=of_gathered) | Q(of_mg=0))


def to_sample(viewer: User) -> QuerySet[Lot]:
    """What clean-outs gathered and nobody has assayed, the oldest first; each with its samples (``drawn``)."""
    return _with_samples(gathered(viewer))


def sample_state(lot: Lot, viewer: User) -> SampleState | None:
    """What a sample is now; nothing for another lot. An emptied one keeps what was said of it."""
    if lot.form != Form.SAMPLE:
        return None
    drawn = getattr(lot, "sample", None)
    last = lot.seals.last()
    edge = Edge.objects.filter(child=lot, operation=lot.created_by_id).select_related("parent").first()
    return SampleState(
        lot=lot,
        of=edge.parent.number if edge else "",
        cut=drawn.cut if drawn else "",
        purpose=last.purpose if last else drawn.purpose if drawn else SamplePurpose.LABORATORY,
        seal=last.seal if last else drawn.seal if drawn else "",
        since=last.at if last else lot.created_by.at,
        position=drawn.position if drawn else "",
        witness=drawn.witness if drawn else "",
    )


@dataclass(frozen=True, slots=True)
class Sealed:
    """One seal of a sample, and what it was kept for under it."""

    seal: str
    purpose: str
    at: datetime
    by: str
    note: str = ""


def seals_of(lot: Lot) -> list[Sealed]:
    """Every seal that a sample lay under, that of the draw in front."""
    drawn = getattr(lot, "sample", None)
    first = []
    if drawn and drawn.seal:
        made = lot.created_by
        first = [Sealed(drawn.seal, drawn.purpose, made.at, str(made.by), "when it was drawn")]
    later = [Sealed(one.seal, one.purpose, one.at, str(one.by), one.note) for one in lot.seals.select_related("by")]
    return first + later


def laboratory_place() -> Place | None:
    """Where samples are carried: the first laboratory in use."""
    return Place.objects.filter(kind=PlaceKind.LABORATORY, active=True).order_by("code").first()


def lots_for_labels(operation: Operation, viewer: User) -> bool:
    """Whether an operation made lots that are still there, so that labels can be printed for them."""
    return scope.lots(viewer).filter(created_by=operation, gross_mg__gt=0).exclude(form=Form.IN_PROCESS).exists()
