"""Scales and reference weights as the standards know them, and where each scale stands today."""

from dataclasses import dataclass
from datetime import datetime

from django.db.models import DateField, Func, OuterRef, QuerySet, Subquery, Value
from django.utils import timezone

from custody.calc import scales as calc
from custody.calc.rounding import half_even
from custody.calc.weights import Weight, WeightClass
from custody.models import ReferenceWeight, Scale, ScaleCheck, ScaleReading, User, Weighing


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


def usable_now() -> QuerySet[Scale]:
    """Scales that may weigh now: in use, and passed today's last check."""
    return in_use().filter(passed=True)


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


# What scales sent by themselves


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
