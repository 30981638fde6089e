"""Scales and reference weights as the standards know them, and where each scale stands today."""

import re
from dataclasses import dataclass
from datetime import datetime

from django.db.models import DateField, Func, OuterRef, Q, QuerySet, Subquery, Value
from django.utils import timezone

from custody.calc import scales as calc
from custody.calc.rounding import half_even
from custody.calc.weights import Weight, WeightClass
from custody.models import (
    Determination,
    Movement,
    ReferenceWeight,
    RefusedParcel,
    Scale,
    ScaleCheck,
    ScaleReading,
    User,
    Weighing,
    WorksheetReading,
)
from custody.queries import scope
from custody.terms import ReadingOf

#: Readings of a worksheet that its balance made; the others are volumes, or figures of an instrument.
MASSES = (ReadingOf.PORTION, ReadingOf.SILVER_ADDED, ReadingOf.BEAD, ReadingOf.CORNET, ReadingOf.CHLORIDE)


def plate_of(scale: Scale) -> calc.Scale:
    """The scale as OIML R 76 knows it."""
    return calc.Scale(calc.Accuracy(scale.accuracy), scale.e_mg, scale.max_mg, scale.d_ug)


def weight_of(weight: ReferenceWeight) -> Weight:
    """The reference weight as OIML R 111 knows it."""
    return Weight(weight.nominal_mg, WeightClass(weight.weight_class), weight.deviation_ug, weight.uncertainty_ug)


# Where each scale stands today


def standing(moment: datetime | None = None) -> QuerySet[Scale]:
    """All scales, each with its last check of the local day of ``moment`` (now): ``checked_at`` and ``passed``.

    Both are None where it was not checked that day, which is what PostgreSQL asks before a weighing (sql/scales.sql).
    """
    at = moment or timezone.now()
    day = Func(Value(at), function="custody_local_day", output_field=DateField())
    last = ScaleCheck.objects.filter(scale=OuterRef("pk"), day=day, at__lte=at).order_by("-at", "-id")
    return Scale.objects.annotate(
        checked_at=Subquery(last.values("at")[:1]), passed=Subquery(last.values("passed")[:1])
    ).order_by("code")


def in_use() -> QuerySet[Scale]:
    """Scales that are not out of use, with where they stand today."""
    return standing().filter(active=True)


def register() -> QuerySet[Scale]:
    """The register: every scale with where it stands today and its last check of any day (``last_at``)."""
    last = ScaleCheck.objects.filter(scale=OuterRef("pk")).order_by("-at", "-id")
    return standing().select_related("place").annotate(last_at=Subquery(last.values("at")[:1]))


def usable_now() -> QuerySet[Scale]:
    """Scales that may weigh now: in use, and passed today's last check."""
    return in_use().filter(passed=True)


def to_check_today(viewer: User) -> QuerySet[Scale]:
    """Scales in use that may not weigh before they pass a check today; the register is the same for everybody."""
    return in_use().filter(Q(passed__isnull=True) | Q(passed=False))  # exclude() would pass over those not checked


def state_of(scale: Scale) -> str:
    """Where a scale of ``standing`` stands, in words."""
    if not scale.active:
        return "out of use"
    if scale.passed is None:
        return "not checked today"
    return "checked today" if scale.passed else "failed its check"


def last_scale_of(user: User) -> str:
    """The code of the scale that this person used last, if it is still in use; else nothing."""
    last = Weighing.objects.filter(by=user).order_by("-id").select_related("scale").first()
    return last.scale.code if last and last.scale.active else ""


# Checks, and what they say of weighings


def checks_of(scale: Scale) -> QuerySet[ScaleCheck]:
    """Its checks with their loads, and the times that it was found faulty; the last one in front."""
    return scale.checks.select_related("by").prefetch_related("loads").order_by("-at", "-id")


def last_weights(scale: Scale) -> list[list[str]]:
    """The codes of the reference weights on the pan at its last check, load by load: today's are most likely these."""
    last = ScaleCheck.objects.filter(scale=scale, loads__isnull=False).order_by("-at", "-id").first()
    # As written by actions/scales.py: "W-2K (2 000.000 g F1), W-100 (…)"; a code has no space in it.
    return [re.findall(r"(\S+) \(", load.weights) for load in last.loads.all()] if last else []


def weighings_on(scale: Scale, viewer: User) -> QuerySet[Weighing]:
    """Weighings on a scale that the viewer may see, the last one in front."""
    return scope.weighings(viewer).filter(scale=scale).select_related("lot", "by").order_by("-at", "-id")


def last_good_check(failed: ScaleCheck) -> ScaleCheck | None:
    """The last check that the scale passed before it failed, as the book had it when the failure was recorded.

    A check that is entered afterwards with an earlier time must not take weighings off the list.
    """
    return (
        ScaleCheck.objects.filter(scale=failed.scale_id, passed=True, at__lte=failed.at, id__lt=failed.pk)
        .order_by("-at", "-id")
        .first()
    )


def doubted(failed: ScaleCheck, viewer: User) -> QuerySet[Weighing]:
    """Every weighing that a scale made since its last good check before it failed, or was found faulty.

    Up to the next check that it passes: a failure may be recorded with the time at which it happened, after weighings.
    Each says by which operation its lot was emptied, if it is (``ended_kind``, ``ended_by``).
    """
    found = scope.weighings(viewer).filter(_in_doubt(failed), scale=failed.scale_id)
    last = Movement.objects.filter(pk=OuterRef("lot__last_movement"))
    return (
        found.select_related("lot__place", "lot__custodian", "lot__receipt__party", "lot__owner", "by")
        .annotate(
            ended_kind=Subquery(last.values("operation__kind")[:1]),
            ended_by=Subquery(last.values("operation__number")[:1]),
        )
        .order_by("at", "id")
    )


def doubted_readings(failed: ScaleCheck, viewer: User) -> QuerySet[WorksheetReading]:
    """Every mass that the laboratory read on the scale in the same time, with what was reported of it (``found_as``).

    A proof is part of every result of its worksheet, and has none of its own.
    """
    found = WorksheetReading.objects.filter(
        _in_doubt(failed), of__in=MASSES, piece__worksheet__in=scope.worksheets(viewer).filter(balance=failed.scale_id)
    )
    reported = Determination.objects.filter(worksheet=OuterRef("piece__worksheet"), lot=OuterRef("piece__lot"))
    return (
        found.select_related("piece__worksheet", "piece__lot", "by")
        .annotate(found_as=Subquery(reported.order_by("-id").values("number")[:1]))
        .order_by("at", "id")
    )


def doubted_refusals(failed: ScaleCheck, viewer: User) -> QuerySet[RefusedParcel]:
    """Every refused parcel that was weighed on the scale in the same time."""
    found = scope.refused_parcels(viewer).filter(_in_doubt(failed), scale=failed.scale_id)
    return found.select_related("party", "by").order_by("at", "id")


def _in_doubt(failed: ScaleCheck) -> Q:
    """From the last good check before the failure up to the next one."""
    good = last_good_check(failed)
    again = ScaleCheck.objects.filter(scale=failed.scale_id, passed=True, at__gt=failed.at).order_by("at").first()
    return (Q(at__gte=good.at) if good else Q()) & (Q(at__lt=again.at) if again else Q())


# What scales sent by themselves


def readings_of(scale: Scale) -> QuerySet[ScaleReading]:
    """What a scale sent, with the weighing that used it, the last one in front."""
    return scale.readings.select_related("gross_of__lot", "tare_of__lot").order_by("-id")


@dataclass(frozen=True, slots=True)
class Sent:
    """A reading of a scale as a form picks it up."""

    id: int
    value_ug: int
    received_at: datetime

    @property
    def mass_mg(self) -> int:
        """Whole milligrams, halves to the even one: as PostgreSQL compares it with a weighing."""
        return half_even(self.value_ug, 1000)


def _unused() -> QuerySet[ScaleReading]:
    return ScaleReading.objects.filter(stable=True, gross_of__isnull=True, tare_of__isnull=True)


def newest_reading(code: str, after: int) -> Sent | None:
    """The newest reading of a scale at rest that no weighing used yet, sent later than the reading ``after``."""
    found = _unused().filter(scale__code=code, scale__active=True, id__gt=after, value_ug__gt=0).order_by("-id").first()
    return Sent(found.pk, found.value_ug, found.received_at) if found else None


def last_reading_id(code: str) -> int:
    """The id of the last reading that a scale sent, 0 if none."""
    return ScaleReading.objects.filter(scale__code=code).order_by("-id").values_list("id", flat=True).first() or 0


def is_reading(reading: int | None, code: str, mass_mg: int) -> bool:
    """Whether a reading is this scale's, at rest, of exactly this mass in milligrams, and not used yet."""
    value = _unused().filter(pk=reading, scale__code=code).values_list("value_ug", flat=True).first()
    return value is not None and half_even(value, 1000) == mass_mg
