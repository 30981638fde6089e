"""Which accepted assays the fineness of a lot rests on."""

from custody.models import Determination, Edge, Lot
from custody.roles import Verb, verb_of
from custody.terms import Kind

#: Steps that change the fineness: what was assayed before says nothing of what comes out.
REFINING = [kind for kind in Kind if verb_of(kind) is Verb.REFINE]
#: How far back an assay is looked for: a bar is cast from what was assayed, at most by way of a few meltings.
FURTHEST = 8


def assays_behind(lot: Lot) -> list[Determination]:
    """The accepted determinations nearest to a lot: its own, or those of the nearest lots it was made of that have any.

    The latest one of each lot, in the order of their numbers; empty where the book holds none since the last refining.
    """
    generation = {lot.pk}
    seen = set(generation)
    for _ in range(FURTHEST):
        found = _accepted(generation)
        if found:
            return found
        parents = Edge.objects.filter(child__in=generation, operation__reversed_by__isnull=True)
        parents = parents.exclude(operation__kind__in=REFINING)
        generation = set(parents.values_list("parent_id", flat=True)) - seen
        seen |= generation
        if not generation:
            break
    return []


def _accepted(lots: set[int]) -> list[Determination]:
    latest = {
        one.lot_id: one
        for one in Determination.objects.filter(lot__in=lots, acceptance__isnull=False)
        .select_related("by")
        .order_by("id")
    }
    return sorted(latest.values(), key=lambda one: one.pk)
