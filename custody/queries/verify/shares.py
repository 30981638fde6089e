"""The arithmetic of shares: pools spread by calc/provenance.py, and what the stored bits say."""

from array import array
from collections.abc import Iterable, Sequence

from custody.calc.provenance import spread
from custody.queries.verify.lots import Content, sole_content
from custody.queries.verify.raw import Entry, Line, Vector

#: Two bits an origin: milligrams taken, less the exact share rounded down.
_BITS = {"00": -1, "01": 0, "10": 1, "11": 2}


class Unreadable(Exception):
    """What is stored is no vector or no code at all."""


def packed(origins: Sequence[int], mgs: Iterable[int]) -> Vector:
    """A vector that takes little room; origins without a milligram are left out."""
    mgs = array("q", mgs)
    if 0 in mgs:
        kept = [(origin, mg) for origin, mg in zip(origins, mgs, strict=True) if mg]
        return Vector(array("q", [origin for origin, _ in kept]), array("q", [mg for _, mg in kept]))
    return Vector(origins if isinstance(origins, array) else array("q", origins), mgs)


def merged(vectors: Iterable[Vector]) -> Vector | None:
    """The milligrams by origin of several vectors together, ascending; None where there are none."""
    vectors = list(vectors)
    if len(vectors) == 1:
        return vectors[0]
    sums: dict[int, int] = {}
    for vector in vectors:
        for origin, mg in zip(vector.origins, vector.mgs, strict=True):
            sums[origin] = sums.get(origin, 0) + mg
    origins = sorted(origin for origin, mg in sums.items() if mg)
    return packed(origins, [sums[origin] for origin in origins]) if origins else None


def added(contents: Iterable[Content]) -> Content:
    """Several contents together, column by column."""
    columns: dict[int, list[Vector]] = {}
    for content in contents:
        for column, vector in content.items():
            columns.setdefault(column, []).append(vector)
    return {column: total for column, found in columns.items() if (total := merged(found))}


def spread_out(pool: Vector, amounts: Sequence[int]) -> list[Vector | None]:
    """What each amount gets of the pool, in the order served; None where it gets nothing.

    Raises Refused when pool and amounts do not sum to the same.
    """
    served = [place for place, amount in enumerate(amounts) if amount]
    if len(served) == 1 and sum(pool.mgs) == amounts[served[0]]:
        return [pool if place == served[0] else None for place in range(len(amounts))]
    shares = spread(pool.mgs, amounts)
    return [packed(pool.origins, share) if amount else None for share, amount in zip(shares, amounts, strict=True)]


def same(one: Content, other: Content) -> bool:
    """Whether two contents are the same to the milligram."""
    return one.keys() == other.keys() and all(
        list(one[column].origins) == list(other[column].origins) and list(one[column].mgs) == list(other[column].mgs)
        for column in one
    )


def told(line: Line, entry: Entry, sign: int = 1) -> Content:
    """What storage says that a line carries, by column and origin. Raises ``Unreadable``.

    ``sign`` −1 for lines whose amounts are the negative of what they carry (a reversal's, a recovery's).
    """
    amounts = tuple(sign * amount for amount in line.amounts)
    if line.origin is not None:
        return sole_content(line.origin, amounts, line.valued)
    if line.spread == 3:
        return {column: vector for (of_line, column), vector in entry.vectors.items() if of_line == line.line}
    if line.spread in (1, 2):
        of_line = 0 if line.spread == 1 else line.line
        found = {}
        for column, bits in enumerate(line.codes or ()):
            vector = entry.vectors.get((of_line, column))
            if bits is not None and vector is None:
                raise Unreadable(f"codes of column {column} without a vector")
            if bits is not None:
                found[column] = _decoded(vector, amounts[column], bits)
        return {column: vector for column, vector in found.items() if vector.mgs}
    return {}


def _decoded(vector: Vector, amount: int, bits: str) -> Vector:
    total = sum(vector.mgs)
    if len(bits) != 2 * len(vector.mgs) or not total:
        raise Unreadable(f"{len(bits)} bits for {len(vector.mgs)} origins")
    steps = (_BITS[bits[place : place + 2]] for place in range(0, len(bits), 2))
    mgs = [mg * amount // total + step for mg, step in zip(vector.mgs, steps, strict=True)]
    return packed(vector.origins, mgs)


def as_rows(content: Content) -> list[list[int]]:
    """Column, origin, milligrams: how a breach lists a content."""
    return [
        [column, origin, mg]
        for column, vector in sorted(content.items())
        for origin, mg in zip(vector.origins, vector.mgs, strict=True)
    ][:20]
