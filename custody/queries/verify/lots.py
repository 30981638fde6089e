"""What the replay knows of a lot at one moment."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime

from custody.queries.verify.raw import Made, Passed, Vector

#: Column to origins and milligrams: column 0 is the gross of an unvalued lot, 1 to 5 the metals of a valued one.
Content = dict[int, Vector]

# Most lots have nothing of these, and there are many lots: they share one empty of each.
NOTHING: Content = {}
NONE_PASSED: deque[Passed] = deque()
NONE_CLEARED: list[tuple[datetime, str]] = []
_SETS: dict[frozenset[str], frozenset[str]] = {}


def one_of(states: Iterable[str]) -> frozenset[str]:
    """The set of these states, the same object every time."""
    found = frozenset(states)
    return _SETS.setdefault(found, found)


@dataclass(slots=True)
class Lot:
    """A lot as its movements have made it so far.

    ``sole`` is the one origin of everything in it; otherwise ``content`` says whose its milligrams are. ``clearance``
    holds every state that it may have had: events of one instant do not say in which order they came.
    """

    made: Made
    amounts: tuple[int, ...]
    valued: bool
    custodian: int | None
    place: int | None
    last_at: datetime
    last_movement: int
    content_movement: int
    sole: int | None
    content: Content
    clearance: frozenset[str]
    passed: deque[Passed]
    cleared: list[tuple[datetime, str]] = field(default_factory=list)
    amended_origin: str | None = None
    amended_until: int = 0

    @property
    def number(self) -> str:
        """The lot's number."""
        return self.made.number

    @property
    def origin(self) -> str:
        """Its declared origin now: what was first written, or what was amended since."""
        return self.made.declared_origin if self.amended_origin is None else self.amended_origin

    def held_by_origin(self) -> Content:
        """Whose its milligrams are."""
        return sole_content(self.sole, self.amounts, self.valued) if self.sole is not None else self.content

    def clearances(self, at: datetime) -> frozenset[str]:
        """Every state that the lot may have had at this instant; events before it are settled for good."""
        while self.cleared and self.cleared[0][0] < at:
            self.clearance = frozenset({self.cleared.pop(0)[1]})
        return self.clearance | {state for moment, state in self.cleared if moment == at}


def sole_content(origin: int, amounts: tuple[int, ...], valued: bool) -> Content:
    """Everything as one origin's: the metals of a valued lot, the gross of an unvalued one."""
    columns = range(1, 6) if valued else (0,)
    return {column: Vector([origin], [amounts[column]]) for column in columns if amounts[column]}
