"""How the metals of a melt fall on the bars cast from it and on what is left."""

from collections.abc import Sequence
from dataclasses import dataclass

from custody.calc.apportion import largest_remainder
from custody.calc.fineness import fine_mg
from custody.calc.refusals import Refused
from custody.terms import METALS


@dataclass(frozen=True, slots=True)
class Poured:
    """The metals of each bar and of the remainder, milligrams of Au, Ag, Pt, Pd, Cu."""

    bars: tuple[tuple[int, ...], ...]
    remainder: tuple[int, ...]


def pour(available: Sequence[int], bars: Sequence[tuple[int, int]], remainder_gross: int, metal: str = "Au") -> Poured:
    """Each bar holds ``metal`` by its fineness; every other metal goes to the remainder.

    ``available`` are the milligrams of Au, Ag, Pt, Pd, Cu that came in less declared losses; a bar is its gross in mg
    and its fineness in ppm. What of the other metals the remainder's gross cannot hold stays in the bars, by largest
    remainder over the room that the bars' fineness leaves: a small remainder of fine metal would otherwise weigh less
    than its impurities. What no bar has room for is left in the remainder, for the book to refuse.

    The remainder of ``metal`` may be negative: the bars then hold more than came in, and the step does not balance.
    Raises Refused for a fineness outside 0 to 1000 per mille.
    """
    at = METALS.index(metal)
    fine = [fine_mg(gross, ppm) for gross, ppm in bars]
    left = list(available)
    left[at] -= sum(fine)
    rooms = [gross - mg for (gross, _), mg in zip(bars, fine, strict=True)]
    over = min(max(sum(max(mg, 0) for mg in left) - remainder_gross, 0), sum(rooms), _others(left, at))
    made = [[0] * len(METALS) for _ in bars]
    for row, mg in zip(made, fine, strict=True):
        row[at] = mg
    staying = largest_remainder(over, [0 if i == at else mg for i, mg in enumerate(left)]) if over else (0,) * len(left)
    for i, amount in enumerate(staying):
        shares = largest_remainder(amount, rooms) if amount else (0,) * len(rooms)
        for row, share in zip(made, shares, strict=True):
            row[i] += share
        rooms = [room - share for room, share in zip(rooms, shares, strict=True)]
        left[i] -= amount
    return Poured(tuple(map(tuple, made)), tuple(left))


def _others(left: Sequence[int], at: int) -> int:
    if any(mg < 0 for i, mg in enumerate(left) if i != at):
        raise Refused("More of a metal is declared lost than came in.", field="losses")
    return sum(mg for i, mg in enumerate(left) if i != at)


def serials_from(first: str, count: int) -> tuple[str, ...]:
    """``count`` serials counted up from the first: its last run of digits, kept as wide, grows by one each.

    Raises Refused for a serial that does not end in a digit, and for no bars.
    """
    digits = len(first) - len(first.rstrip("0123456789"))
    if not digits:
        raise Refused(f"The serial {first[:24]} does not end in a digit. Write it like A000001.", field="serial")
    if count < 1:
        raise Refused("Lay out at least one bar.", field="count")
    head, number = first[: len(first) - digits], int(first[-digits:])
    return tuple(f"{head}{number + i:0{digits}d}" for i in range(count))
