"""How long a lot may stand untouched before the plant's board says so, by kind of place.

Common practice: what waits at the counter or in the laboratory is a day's work, what lies beside a furnace or a vessel
a shift's or two; stock waits longer. A vault has no such time: metal is kept there. Contents of runs go by their step.
"""

from datetime import datetime, timedelta

from custody.terms import PlaceKind

LONGEST: dict[PlaceKind, timedelta] = {
    PlaceKind.COUNTER: timedelta(days=1),
    PlaceKind.LABORATORY: timedelta(days=3),
    PlaceKind.FURNACE: timedelta(days=1),
    PlaceKind.VESSEL: timedelta(days=2),
    PlaceKind.WORKSHOP: timedelta(days=7),
    PlaceKind.STRONGROOM: timedelta(days=14),
}


def untouched_too_long(kind: str, last_at: datetime, now: datetime) -> bool:
    """Whether a lot at such a place was last touched longer ago than is usual; never in a vault."""
    longest = LONGEST.get(PlaceKind(kind))
    return longest is not None and now - last_at > longest
