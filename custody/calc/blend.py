"""Batch planning: what lots come to together, which limits that breaks, what cures it, a blend that keeps them.

Milligrams in, milligrams out. Whether lots may be mixed at all (owner, custody model, release) is not decided here.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from custody.calc.fineness import format_percent
from custody.calc.mass import format_kilograms
from custody.calc.refusals import Refused
from custody.terms import METALS, PPM

#: Up to so many lots every blend is weighed against every other.
EXACT = 12
#: Of more, lots are exchanged one for one to make the blend heavier, at most so many times.
EXCHANGES = 200


@dataclass(frozen=True, slots=True)
class Feed:
    """One lot as the planner sees it: its number, gross and the five metals of account in milligrams."""

    lot: str
    gross_mg: int
    metals_mg: tuple[int, ...]

    def __post_init__(self) -> None:
        if self.gross_mg <= 0 or min(self.metals_mg) < 0 or sum(self.metals_mg) > self.gross_mg:
            raise Refused(f"Lot {self.lot} weighs more than nothing, and no less than its metals.", field="lots")


@dataclass(frozen=True, slots=True)
class BlendLimits:
    """What a batch must keep; None where the plant sets no limit. ``most_ppm`` and ``least_ppm`` are by metal."""

    most_gross_mg: int | None = None
    most_ppm: tuple[tuple[str, int], ...] = ()
    least_ppm: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Blend:
    """Lots together: their numbers, gross and metals in milligrams."""

    lots: tuple[str, ...]
    gross_mg: int
    metals_mg: tuple[int, ...]

    def ppm(self, metal: str) -> int:
        """Fineness of one metal, rounded down to the ppm; zero for an empty blend."""
        return self.metals_mg[METALS.index(metal)] * PPM // self.gross_mg if self.gross_mg else 0


def blend(feeds: Iterable[Feed]) -> Blend:
    """What lots come to together. Raises Refused for a lot named twice."""
    feeds = list(feeds)
    lots = tuple(feed.lot for feed in feeds)
    if len(set(lots)) != len(lots):
        raise Refused("A lot is named twice. Name each lot once.", field="lots")
    metals = tuple(sum(feed.metals_mg[i] for feed in feeds) for i in range(len(METALS)))
    return Blend(lots, sum(feed.gross_mg for feed in feeds), metals)


def broken(of: Blend, limits: BlendLimits) -> tuple[str, ...]:
    """The limits that a blend breaks, each in a sentence with both figures; exactly at a limit is inside it."""
    found = []
    if limits.most_gross_mg is not None and of.gross_mg > limits.most_gross_mg:
        found.append(
            f"{format_kilograms(of.gross_mg)} kg is more than the {format_kilograms(limits.most_gross_mg)} kg that a"
            " batch may weigh."
        )
    for metal, ppm in limits.most_ppm:
        if _excess(of, metal, ppm) > 0:
            found.append(f"{metal} is {format_percent(of.ppm(metal))} %, more than {format_percent(ppm)} %.")
    for metal, ppm in limits.least_ppm:
        if _excess(of, metal, ppm) < 0:
            found.append(f"{metal} is {format_percent(of.ppm(metal))} %, less than {format_percent(ppm)} %.")
    return tuple(found)


@dataclass(frozen=True, slots=True)
class Proposal:
    """A blend within the limits, and a gross in milligrams that no blend of these lots within them exceeds."""

    blend: Blend
    most_mg: int

    @property
    def proven(self) -> bool:
        """Whether it is shown that no heavier blend keeps the limits."""
        return self.blend.gross_mg == self.most_mg


def cure(
    chosen: Sequence[Feed], spare: Sequence[Feed], metal: str, ppm: int, *, at_least: bool = False
) -> tuple[Feed, ...] | None:
    """The fewest spare lots that bring a metal of the chosen ones down to a limit; None where all together do not.

    With ``at_least``, up to it. A lot helps by as much as it lies on the right side of the limit: taken in that order,
    no other choice of as few lots helps more.
    """
    sign = -1 if at_least else 1

    def over_by(feed: Feed) -> int:
        return sign * _excess(feed, metal, ppm)

    over = sum(over_by(feed) for feed in chosen)
    taken: list[Feed] = []
    for feed in sorted(spare, key=lambda one: (over_by(one), one.lot)):
        if over <= 0:
            break
        if over_by(feed) >= 0:
            return None
        taken.append(feed)
        over += over_by(feed)
    return tuple(taken) if over <= 0 else None


def propose(candidates: Sequence[Feed], limits: BlendLimits) -> Proposal:
    """The heaviest blend of the candidates that keeps the limits; it may be empty.

    Exact up to ``EXACT`` lots. Of more, a blend that no further lot, and no exchange of one lot for another, makes
    heavier within the limits, beside a gross that none can exceed. Raises Refused for a lot named twice.
    """
    blend(candidates)
    loads = [_load(feed, limits) for feed in candidates]
    room = _room(limits)
    if len(candidates) <= EXACT:
        found = blend(_picked(candidates, _heaviest(loads, room)))
        return Proposal(found, found.gross_mg)
    found = blend(_picked(candidates, _good(loads, room)))
    return Proposal(found, max(_no_heavier(loads, room), found.gross_mg))


def _picked(candidates: Sequence[Feed], chosen: Iterable[int]) -> list[Feed]:
    return [candidates[i] for i in sorted(chosen)]


#: What a lot weighs, then by how much it is over each limit of a metal; a blend keeps the limits where every sum is at
#: most what there is room for.
_Load = tuple[int, ...]


def _load(feed: Feed, limits: BlendLimits) -> _Load:
    most = (_excess(feed, metal, ppm) for metal, ppm in limits.most_ppm)
    least = (-_excess(feed, metal, ppm) for metal, ppm in limits.least_ppm)
    return (feed.gross_mg, *most, *least)


def _room(limits: BlendLimits) -> tuple[int | None, ...]:
    return (limits.most_gross_mg, *(0 for _ in limits.most_ppm), *(0 for _ in limits.least_ppm))


def _keeps(total: Iterable[int], room: Iterable[int | None]) -> bool:
    return all(space is None or load <= space for load, space in zip(total, room, strict=True))


def _sum(loads: Sequence[_Load], chosen: Iterable[int], width: int) -> list[int]:
    chosen = list(chosen)
    return [sum(loads[i][column] for i in chosen) for column in range(width)]


def _heaviest(loads: Sequence[_Load], room: tuple[int | None, ...]) -> list[int]:
    best: list[int] = []
    best_mg = 0
    for choice in range(1, 1 << len(loads)):
        chosen = [i for i in range(len(loads)) if choice >> i & 1]
        total = _sum(loads, chosen, len(room))
        if total[0] > best_mg and _keeps(total, room):
            best, best_mg = chosen, total[0]
    return best


def _good(loads: Sequence[_Load], room: tuple[int | None, ...]) -> set[int]:
    """Drops the lot that breaks most until the limits are kept, then adds and exchanges while that makes it heavier."""
    kept = set(range(len(loads)))
    while kept and not _keeps(total := _sum(loads, kept, len(room)), room):
        kept.remove(max(kept, key=lambda i: (_harm(loads[i], total, room), loads[i][0], i)))
    for _ in range(EXCHANGES):
        better = _heavier(loads, room, kept)
        if better is None:
            break
        kept = better
    return kept


def _harm(load: _Load, total: Sequence[int], room: tuple[int | None, ...]) -> Fraction:
    """What a lot takes of the limits that all of them break, each as a part of what they are over by."""
    harm = Fraction(0)
    for mine, all_of_them, space in zip(load, total, room, strict=True):
        if space is not None and all_of_them > space:
            harm += Fraction(mine, all_of_them - space)
    return harm


def _heavier(loads: Sequence[_Load], room: tuple[int | None, ...], kept: set[int]) -> set[int] | None:
    """One lot more, or one for another: the heaviest blend within the limits so reached; None where none is heavier."""
    total = _sum(loads, kept, len(room))
    best, best_mg = None, total[0]
    for add in set(range(len(loads))) - kept:
        for drop in (None, *sorted(kept)):
            gross = total[0] + loads[add][0] - (loads[drop][0] if drop is not None else 0)
            if gross <= best_mg:
                continue
            without = loads[drop] if drop is not None else (0,) * len(room)
            if _keeps((a + b - c for a, b, c in zip(total, loads[add], without, strict=True)), room):
                best, best_mg = (kept | {add}) - {drop}, gross
    return best


def _no_heavier(loads: Sequence[_Load], room: tuple[int | None, ...]) -> int:
    """A gross that no blend exceeds: for each limit alone, as if lots could be parted; the least of these."""
    everything = sum(load[0] for load in loads)
    bound = everything if room[0] is None else min(everything, room[0])
    for column in range(1, len(room)):
        helping = [load for load in loads if load[column] <= 0]
        space = -sum(load[column] for load in helping)
        gross = Fraction(sum(load[0] for load in helping))
        for load in sorted((one for one in loads if one[column] > 0), key=lambda one: Fraction(one[column], one[0])):
            part = min(Fraction(space, load[column]), Fraction(1))
            gross += part * load[0]
            space -= part * load[column]
        bound = min(bound, int(gross))
    return bound


def _excess(of: Feed | Blend, metal: str, ppm: int) -> int:
    """How much more of a metal there is than a fineness allows, in millionths of a milligram."""
    return of.metals_mg[METALS.index(metal)] * PPM - of.gross_mg * ppm
