"""Sharing whole milligrams in proportion, with nothing left over."""

from collections.abc import Sequence

from custody.calc.refusals import Refused


def largest_remainder(total: int, weights: Sequence[int]) -> tuple[int, ...]:
    """``total`` shared in proportion to the weights, in whole units that sum to it exactly.

    Each share is its exact value rounded down; what is left goes one by one to the largest remainders, ties to
    the earlier weight (method of Hamilton). A share is never above its exact value rounded up.

    Raises Refused for anything negative, and for a total without weight to carry it.
    """
    whole = sum(weights)
    if total < 0 or any(weight < 0 for weight in weights):
        raise Refused("Only amounts of zero or more can be shared.", field="amount")
    if whole == 0:
        if total:
            raise Refused("There is nothing to share the amount over.", field="amount")
        return (0,) * len(weights)
    shares = [total * weight // whole for weight in weights]
    by_remainder = sorted(range(len(weights)), key=lambda i: (-(total * weights[i] % whole), i))
    for i in by_remainder[: total - sum(shares)]:
        shares[i] += 1
    return tuple(shares)


def withdraw(gross_mg: int, metals: Sequence[int], taken_gross: int) -> tuple[int, ...]:
    """The metals, in milligrams, that go with ``taken_gross`` out of a lot of ``gross_mg``.

    ``metals`` are the lot's in the order Au, Ag, Pt, Pd, Cu. They and the rest of the lot (gross less their
    sum) share the taken gross by largest remainder, ties in that order, the rest last. So both halves keep
    their metals within their gross, and taking the whole gross takes the whole of every metal.

    Raises Refused when more is taken than is there, or when the metals exceed the gross.
    """
    rest = gross_mg - sum(metals)
    if rest < 0:
        raise Refused("The metals of a lot never exceed its gross.", field="metals")
    if not 0 <= taken_gross <= gross_mg:
        raise Refused("No more can be taken from a lot than is in it.", field="gross")
    return largest_remainder(taken_gross, (*metals, rest))[:-1]


def divide(gross_mg: int, metals: Sequence[int], parts: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    """The metals, in milligrams, of each part of a lot that is divided whole into parts of so many milligrams gross.

    Each part is a withdrawal from what the parts before it left, so that all of them sum to the lot exactly.
    Raises Refused when the parts are not the whole of the lot, and as ``withdraw`` does.
    """
    if sum(parts) != gross_mg:
        raise Refused("The parts of a lot weigh together as much as the lot.", field="gross")
    left, shares = tuple(metals), []
    for part in parts:
        shares.append(withdraw(gross_mg, left, part))
        gross_mg -= part
        left = tuple(mg - share for mg, share in zip(left, shares[-1], strict=True))
    return tuple(shares)
