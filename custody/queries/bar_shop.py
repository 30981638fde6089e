"""Strips and blanks on their way to bars, and the type of bar that blanks are for."""

from collections.abc import Sequence

from django.db.models import Count, F, Max, QuerySet, Sum

from custody.models import BarType, Lot, User
from custody.queries import scope
from custody.terms import METALS, Form


def in_hand(viewer: User) -> QuerySet:
    """Strips and blanks with metal in the viewer's own custody, by the operation that made them, the latest first."""
    held = scope.lots(viewer).filter(custodian=viewer, gross_mg__gt=0, form__in=(Form.STRIP, Form.BLANK))
    grouped = held.values("form", operation=F("created_by__number"), kind=F("created_by__kind"), of=F("created_by"))
    return grouped.annotate(count=Count("id"), gross_sum=Sum("gross_mg"), at=Max("last_at")).order_by("-of", "form")


def type_for(lots: Sequence[Lot]) -> BarType | None:
    """The type that these blanks are usually for: the heaviest that none of them is too light for."""
    if not lots or not all(lot.valued and lot.gross_mg for lot in lots):
        return None
    lightest = min(lots, key=lambda lot: lot.gross_mg)
    metal = max(METALS, key=lambda one: lightest.metals_mg[METALS.index(one)])
    fitting = BarType.objects.filter(
        active=True, metal=metal, least_mg__lte=lightest.gross_mg, nominal_mg__isnull=False
    )
    found = fitting.order_by("-least_mg").first()
    # A blank is cut a little over its weight; a lot of several weighs a multiple of it.
    return found if found and lightest.gross_mg <= found.most_mg + found.least_mg // 10 else None
