"""What was declared lost and not found again: what the next clean-out of a cause can recover."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import connection
from django.db.models import Exists, OuterRef, QuerySet

from custody.models import Acceptance, Lot, Movement, User
from custody.queries import scope
from custody.terms import METALS, Cause, Kind, Side

_LOST = """
SELECT c.cause, t.column_no, sum(t.mg)::bigint
  FROM unnest(%s::text[]) c(cause), LATERAL custody_lost_since(c.cause) t
 WHERE t.column_no > 0 GROUP BY 1, 2
"""
_RECOVERED = """
SELECT c.cause, o.at
  FROM unnest(%s::text[]) c(cause)
  JOIN custody_movement m ON m.id = custody_last_recovery(c.cause) JOIN custody_operation o ON o.id = m.operation_id
"""


@dataclass(frozen=True, slots=True)
class LostSince:
    """Milligrams of Au, Ag, Pt, Pd, Cu declared lost by a cause since the last recovery, if there was one."""

    cause: Cause
    metals_mg: tuple[int, ...]
    recovered_at: datetime | None


def lost_since(causes: Sequence[Cause]) -> list[LostSince]:
    """What was lost by each of these causes since metal was last recovered from it, in their order."""
    named = [str(cause) for cause in causes]
    lost = {cause: [0] * len(METALS) for cause in named}
    with connection.cursor() as cursor:
        cursor.execute(_LOST, [named])
        for cause, column, mg in cursor.fetchall():
            lost[cause][column - 1] = mg
        cursor.execute(_RECOVERED, [named])
        recovered = dict(cursor.fetchall())
    return [LostSince(cause, tuple(lost[cause]), recovered.get(cause)) for cause in causes]


def gathered(viewer: User) -> QuerySet[Lot]:
    """Lots that a clean-out gathered from nothing in the book and that have no accepted assay yet."""
    went_in = Movement.objects.filter(operation=OuterRef("created_by"), side=Side.IN)
    assayed = Acceptance.objects.filter(determination__lot=OuterRef("pk"))
    made = scope.lots(viewer).filter(created_by__kind=Kind.CLEAN_OUT, gross_mg__gt=0)
    return made.filter(~Exists(went_in), ~Exists(assayed))
