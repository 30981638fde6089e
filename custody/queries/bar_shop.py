"""Strips and blanks on their way to bars."""

from django.db.models import Count, F, Max, QuerySet, Sum

from custody.models import User
from custody.queries import scope
from custody.terms import Form


def in_hand(viewer: User) -> QuerySet:
    """Strips and blanks with metal in the viewer's own custody, by the operation that made them, the latest first."""
    held = scope.lots(viewer).filter(custodian=viewer, gross_mg__gt=0, form__in=(Form.STRIP, Form.BLANK))
    grouped = held.values("form", operation=F("created_by__number"), kind=F("created_by__kind"), of=F("created_by"))
    return grouped.annotate(count=Count("id"), gross_sum=Sum("gross_mg"), at=Max("last_at")).order_by("-of", "form")
