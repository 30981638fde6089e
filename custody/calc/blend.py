"""Batch planning: what lots come to together, which limits that breaks, what cures it, a blend that keeps them.

Milligrams in, milligrams out. Whether lots may be mixed at all (owner, custody model, release) is not decided here.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from custody.calc.fineness import format_percent
from custody.calc.mass import format_kilograms
from custody.calc.refusals import Refused
from custody.terms import METALS, PPM

#: Up to so many lots every blend is weighed against every other; of more, the worst lot is dropped again and again.
EXACT = 12


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


def cure(chosen: Sequence[Feed], spare: Sequence[Feed], metal: str, most_ppm: int) -> tuple[Feed, ...] | None:
    """The fewest spare lots that bring a metal of the chosen ones under a limit; None where all together do not.

    A lot helps by as much as it holds less of the metal than the limit allows it: taken in that order, no other choice
    of as few lots helps more.
    """
    over = sum(_excess(blend([feed]), metal, most_ppm) for feed in chosen)
    taken: list[Feed] = []
    for feed in sorted(spare, key=lambda one: (_excess(blend([one]), metal, most_ppm), one.lot)):
        if over <= 0:
            break
        helps = _excess(blend([feed]), metal, most_ppm)
        if helps >= 0:
            return None
        taken.append(feed)
        over += helps
    return tuple(taken) if over <= 0 else None


def propose(candidates: Sequence[Feed], limits: BlendLimits) -> Blend:
    """The heaviest blend of the candidates that keeps the limits; it may be empty.

    Exact up to ``EXACT`` lots. Of more, the lot that keeps the limits furthest away is left out, one after the other.
    """
    if len(candidates) <= EXACT:
        return blend(_heaviest(candidates, limits))
    kept = list(candidates)
    while kept and broken(blend(kept), limits):
        kept.remove(max(kept, key=lambda feed: (_harm(feed, kept, limits), feed.gross_mg, feed.lot)))
    return blend(kept)


def _heaviest(candidates: Sequence[Feed], limits: BlendLimits) -> list[Feed]:
    best: list[Feed] = []
    best_mg = 0
    for choice in range(1, 1 << len(candidates)):
        feeds = [feed for i, feed in enumerate(candidates) if choice >> i & 1]
        gross = sum(feed.gross_mg for feed in feeds)
        if gross > best_mg and not broken(blend(feeds), limits):
            best, best_mg = feeds, gross
    return best


def _harm(feed: Feed, kept: Sequence[Feed], limits: BlendLimits) -> int:
    """By how much a lot alone breaks the limits that all of them break, in parts of milligrams."""
    together, alone = blend(kept), blend([feed])
    harm = sum(_excess(alone, metal, ppm) for metal, ppm in limits.most_ppm if _excess(together, metal, ppm) > 0)
    return harm - sum(
        _excess(alone, metal, ppm) for metal, ppm in limits.least_ppm if _excess(together, metal, ppm) < 0
    )


def _excess(of: Blend, metal: str, ppm: int) -> int:
    """How much more of a metal there is than a fineness allows, in millionths of a milligram."""
    return of.metals_mg[METALS.index(metal)] * PPM - of.gross_mg * ppm
