"""How the metals of strips and blanks follow what is weighed of them: rolling, punching, annealing, filing, stamping.

Cold work changes no fineness, so every part holds the metals of what it was cut from in proportion to its weight.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from custody.calc.apportion import divide, withdraw
from custody.calc.mass import format_grams
from custody.calc.refusals import Refused


@dataclass(frozen=True, slots=True)
class Followed:
    """The metals of each part and of each loss, milligrams of Au, Ag, Pt, Pd, Cu. What is gained is negative."""

    parts: tuple[tuple[int, ...], ...]
    losses: tuple[tuple[int, ...], ...]


def follow(gross_mg: int, metals_mg: Sequence[int], parts: Sequence[int], losses: Sequence[int]) -> Followed:
    """Shares the metals of ``gross_mg`` over parts and losses by their gross, all in milligrams.

    A negative loss is a gain of the scale: it brings metals in proportion, rounded down, before all is shared. Shares
    are those of a lot divided into parts (largest remainder), so that none holds more metal than it weighs.

    Raises Refused for parts that do not weigh together what went in less the losses.
    """
    gains = [-mg if mg < 0 else 0 for mg in losses]
    gap = gross_mg - sum(parts) - sum(losses)
    if gap:
        raise Refused(_unbalanced(gap), field="losses")
    gained = [tuple(mg * gain // gross_mg for mg in metals_mg) for gain in gains]
    pool = [mg + sum(gain[i] for gain in gained) for i, mg in enumerate(metals_mg)]
    out = [*parts, *(max(mg, 0) for mg in losses)]
    shares = divide(gross_mg + sum(gains), pool, out)
    lost = [_minus(share, gain) for share, gain in zip(shares[len(parts) :], gained, strict=True)]
    return Followed(tuple(shares[: len(parts)]), tuple(lost))


@dataclass(frozen=True, slots=True)
class Piece:
    """One strip or blank that is worked by itself: gross and metals before, gross after, all in milligrams."""

    gross_mg: int
    metals_mg: tuple[int, ...]
    after_mg: int


def follow_each(pieces: Sequence[Piece], others: Sequence[int], losses: Sequence[int]) -> Followed:
    """As ``follow`` where each piece keeps its own fineness: what comes off all of them is what the others share.

    ``parts`` of the answer are the pieces in their order, then the others (filings, skeleton). A piece that the scale
    shows heavier than before takes the excess from what the others lose, or from a declared gain.

    Raises Refused for weights that do not add up.
    """
    before = sum(piece.gross_mg for piece in pieces)
    gains = [-mg if mg < 0 else 0 for mg in losses]
    gap = before - sum(piece.after_mg for piece in pieces) - sum(others) - sum(losses)
    if gap:
        raise Refused(_unbalanced(gap), field="losses")
    all_metals = [sum(piece.metals_mg[i] for piece in pieces) for i in range(len(pieces[0].metals_mg))]
    gained = [tuple(mg * gain // before for mg in all_metals) for gain in gains]
    kept = [withdraw(piece.gross_mg, piece.metals_mg, min(piece.after_mg, piece.gross_mg)) for piece in pieces]
    off = sum(max(piece.gross_mg - piece.after_mg, 0) for piece in pieces) + sum(gains)
    pool = [mg - sum(row[i] for row in kept) + sum(gain[i] for gain in gained) for i, mg in enumerate(all_metals)]
    over = [max(piece.after_mg - piece.gross_mg, 0) for piece in pieces]
    shares = divide(off, pool, [*over, *others, *(max(mg, 0) for mg in losses)])
    parts = [_plus(row, share) for row, share in zip(kept, shares, strict=False)]
    rest = shares[len(pieces) :]
    lost = [_minus(share, gain) for share, gain in zip(rest[len(others) :], gained, strict=True)]
    return Followed((*parts, *rest[: len(others)]), tuple(lost))


def _plus(one: Sequence[int], other: Sequence[int]) -> tuple[int, ...]:
    return tuple(a + b for a, b in zip(one, other, strict=True))


def _minus(one: Sequence[int], other: Sequence[int]) -> tuple[int, ...]:
    return tuple(a - b for a, b in zip(one, other, strict=True))


def _unbalanced(gap_mg: int) -> str:
    word = "still to explain" if gap_mg > 0 else "more out than in"
    return (
        f"{format_grams(abs(gap_mg))} g {word}. Weigh again, or declare the difference as a loss (a gain with a minus)."
    )
