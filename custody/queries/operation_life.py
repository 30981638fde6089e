"""One operation as it stands in the book: its lines by side, and their sums."""

from dataclasses import dataclass

from custody.calc.balance import total
from custody.models import Movement, Operation
from custody.terms import Side

SIDE_WORDS = {Side.IN: "In", Side.ADD: "Added", Side.OUT: "Out", Side.LOSS: "Declared losses and differences"}


@dataclass(frozen=True, slots=True)
class Line:
    """One movement: a lot's number or the words of a line that is no lot, and gross and five metals in mg."""

    name: str
    lot: str
    form: str
    columns_mg: tuple[int, ...]
    valued: bool

    @property
    def shown_mg(self) -> tuple[int | None, ...]:
        """The columns as a screen shows them: what is not known of an unvalued lot is no zero."""
        return self.columns_mg if self.valued else (self.columns_mg[0], *(mg or None for mg in self.columns_mg[1:]))


@dataclass(frozen=True, slots=True)
class SideLines:
    """The lines of one side of an operation, and what they sum to in mg."""

    side: Side
    lines: tuple[Line, ...]
    sum_mg: tuple[int, ...]

    @property
    def words(self) -> str:
        """How a screen says the side."""
        return SIDE_WORDS[self.side]


def sides_of(operation: Operation) -> list[SideLines]:
    """The lines of an operation: in, added, out, declared; a side without lines is left out."""
    movements = Movement.objects.filter(operation=operation).select_related("lot__bar").order_by("line")
    lines: dict[Side, list[Line]] = {side: [] for side in SIDE_WORDS}
    for movement in movements:
        lines[Side(movement.side)].append(_line(movement))
    return [SideLines(side, tuple(rows), total(row.columns_mg for row in rows)) for side, rows in lines.items() if rows]


def balance_of(sides: list[SideLines]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """In with additions, and out with declared losses: gross and five metals in mg. The book holds them equal (I1)."""
    came = total(row.sum_mg for row in sides if row.side in (Side.IN, Side.ADD))
    went = total(row.sum_mg for row in sides if row.side in (Side.OUT, Side.LOSS))
    return came, went


def _line(movement: Movement) -> Line:
    words = ", ".join(filter(None, (movement.what, movement.words)))
    if movement.lot is None:
        return Line(movement.what or "—", "", movement.words, movement.columns_mg, movement.valued)
    number = movement.lot.number
    bar = getattr(movement.lot, "bar", None)
    form = ", ".join(filter(None, (movement.lot.get_form_display(), str(bar) if bar else "", words)))
    return Line(number, number, form, movement.columns_mg, movement.valued)
