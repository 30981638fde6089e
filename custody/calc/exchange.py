"""Exchange of assays: which fineness counts when refinery and customer both assayed a lot, and who pays an umpire.

Both results are exchanged at once. Where they differ by no more than the agreed splitting limit, their mean counts;
otherwise a third laboratory, the umpire, assays the sealed sample, and the agreement says which result then counts.
Sources: published terms and contract clauses for the mean inside the limit (fixtures/published/exchange.json), and for
"umpire final" Beringer, A Text-book of Assaying, 1904, p. 181-182; the other two rules and who pays are common
practice, from memory. That one party's result stands where the other gives none is a clause of a concentrate contract
(lawinsider.com, "Method for determining final analysis"). All finenesses are in ppm; every mean is rounded half to even
to the ppm, once.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from custody.calc.fineness import format_per_mille
from custody.calc.refusals import Refused
from custody.calc.rounding import half_even
from custody.terms import METALS, PPM, Term


class UmpireRule(Term):
    """Which result counts once the umpire has assayed."""

    FINAL = "umpire final"
    NEARER = "nearer party unless umpire between"
    MEAN = "mean of umpire and nearer party"


class UmpirePaidBy(Term):
    """Who pays the umpire: the party farther from it; both, half each, when it lies exactly midway."""

    REFINERY = "refinery"
    CUSTOMER = "customer"
    SHARED = "shared"


class Outcome(Term):
    """How an exchange of one metal ends."""

    MEAN = "mean of both"
    UMPIRE = "to the umpire"
    REFINERY = "refinery's result"


@dataclass(frozen=True, slots=True)
class Exchanged:
    """One metal after the exchange, in ppm. ``settled_ppm`` is None while the umpire's result is awaited."""

    metal: str
    refinery_ppm: int
    customer_ppm: int | None
    limit_ppm: int | None
    outcome: Outcome
    settled_ppm: int | None

    @property
    def difference_ppm(self) -> int | None:
        """Refinery less customer; None where the customer gave no result."""
        return None if self.customer_ppm is None else self.refinery_ppm - self.customer_ppm

    @property
    def sentence(self) -> str:
        """What came of it, in per mille, with the arithmetic."""
        ours = format_per_mille(self.refinery_ppm)
        if self.outcome is Outcome.REFINERY:
            return f"{self.metal}: the refinery's {ours} per mille count, as agreed."
        theirs, limit = format_per_mille(self.customer_ppm), format_per_mille(self.limit_ppm)
        apart = format_per_mille(abs(self.difference_ppm))
        if self.outcome is Outcome.UMPIRE:
            return f"{self.metal}: {ours} and {theirs} lie {apart} apart, more than {limit}; the umpire assays."
        return (
            f"{self.metal}: {ours} and {theirs} lie {apart} apart, within {limit}; their mean"
            f" {format_per_mille(self.settled_ppm)} counts, rounded half to even to 0.001."
        )


@dataclass(frozen=True, slots=True)
class Umpired:
    """One metal after the umpire, in ppm, and who pays for the umpire's assay of it."""

    umpire_ppm: int
    rule: UmpireRule
    settled_ppm: int
    paid_by: UmpirePaidBy

    @property
    def sentence(self) -> str:
        """What came of it and who pays, in per mille."""
        return (
            f"The umpire found {format_per_mille(self.umpire_ppm)}; by the rule “{self.rule.label}”"
            f" {format_per_mille(self.settled_ppm)} counts. {_PAYS[self.paid_by]}"
        )


_PAYS = {
    UmpirePaidBy.REFINERY: "The refinery was farther from it and pays the umpire’s assay.",
    UmpirePaidBy.CUSTOMER: "The customer was farther from it and pays the umpire’s assay.",
    UmpirePaidBy.SHARED: "It lies midway: each pays half of the umpire’s assay.",
}


@dataclass(frozen=True, slots=True)
class Settled:
    """One metal of an exchange, with the umpire's answer where it came to that."""

    exchanged: Exchanged
    umpired: Umpired | None = None

    @property
    def settled_ppm(self) -> int | None:
        """The fineness that counts, ppm; None while the umpire's result is awaited."""
        return self.umpired.settled_ppm if self.umpired else self.exchanged.settled_ppm

    @property
    def worth_saying(self) -> bool:
        """Whether anybody found the metal, or a limit is agreed for it."""
        one = self.exchanged
        return bool(one.refinery_ppm or one.customer_ppm or one.limit_ppm is not None)

    @property
    def sentence(self) -> str:
        """How the metal ended, in words."""
        return " ".join(part.sentence for part in (self.exchanged, self.umpired) if part)


def within_limit(refinery_ppm: int, customer_ppm: int, limit_ppm: int) -> bool:
    """Whether two results differ by no more than the splitting limit: exactly at the limit is inside it.

    Raises Refused for a result or a limit outside 0 to 1000 per mille.
    """
    for name, ppm in (("refinery", refinery_ppm), ("customer", customer_ppm), ("limit", limit_ppm)):
        _check(name, ppm)
    return abs(refinery_ppm - customer_ppm) <= limit_ppm


def exchange(
    refinery_ppm: Mapping[str, int], customer_ppm: Mapping[str, int], limits_ppm: Mapping[str, int]
) -> tuple[Exchanged, ...]:
    """Both parties' results, metal by metal in the order of account, against the agreed splitting limits.

    For a metal without a limit the refinery's result counts, whatever the customer found. Raises Refused for a metal
    that is none of account, for a metal with a limit that only one party assayed, and as ``within_limit`` does.
    """
    named = {*refinery_ppm, *customer_ppm, *limits_ppm}
    strange = next((metal for metal in sorted(named) if metal not in METALS), None)
    if strange:
        raise Refused(f"{strange} is no metal of account.", field="metal")
    lines = []
    for metal in METALS:
        if metal in refinery_ppm or metal in customer_ppm:
            lines.append(_line(metal, refinery_ppm.get(metal), customer_ppm.get(metal), limits_ppm.get(metal)))
    return tuple(lines)


def settle(
    refinery_ppm: Mapping[str, int],
    customer_ppm: Mapping[str, int] | None,
    limits_ppm: Mapping[str, int],
    umpire_ppm: Mapping[str, int],
    rule: UmpireRule,
) -> tuple[Settled, ...]:
    """A whole exchange, metal by metal, all in ppm.

    ``customer_ppm`` is None where the customer gave no result in the days agreed: the refinery's stands alone
    (a contract clause for final analysis: where one party fails to exchange, the other's result stands). Raises Refused
    as ``exchange`` and ``umpire`` do.
    """
    lines = exchange(refinery_ppm, customer_ppm or {}, limits_ppm if customer_ppm is not None else {})
    return tuple(
        Settled(line, umpire(line.refinery_ppm, line.customer_ppm, line.limit_ppm, umpire_ppm[line.metal], rule))
        if line.outcome is Outcome.UMPIRE and line.metal in umpire_ppm
        else Settled(line)
        for line in lines
    )


def umpire(refinery_ppm: int, customer_ppm: int, limit_ppm: int, umpire_ppm: int, rule: UmpireRule) -> Umpired:
    """The fineness that counts after the umpire, and who pays.

    - umpire final: the umpire's result;
    - nearer party unless umpire between: the umpire's result if it lies between the parties' or on one of them, else
      the result of the party nearer to it;
    - mean of umpire and nearer party: rounded half to even; exactly midway no party is nearer, and the umpire's result
      counts, which is then the mean of all three.

    Raises Refused when the parties' results are within the limit: then there is nothing for an umpire to decide.
    """
    if within_limit(refinery_ppm, customer_ppm, limit_ppm):
        raise Refused(
            "The results are within the splitting limit; their mean counts without an umpire.", field="umpire"
        )
    _check("umpire", umpire_ppm)
    paid_by = _paid_by(refinery_ppm, customer_ppm, umpire_ppm)
    nearer = {UmpirePaidBy.REFINERY: customer_ppm, UmpirePaidBy.CUSTOMER: refinery_ppm}.get(paid_by, umpire_ppm)
    between = min(refinery_ppm, customer_ppm) <= umpire_ppm <= max(refinery_ppm, customer_ppm)
    settled = {
        UmpireRule.FINAL: umpire_ppm,
        UmpireRule.NEARER: umpire_ppm if between else nearer,
        UmpireRule.MEAN: half_even(umpire_ppm + nearer, 2),
    }[rule]
    return Umpired(umpire_ppm, rule, settled, paid_by)


def excess_ppm(settled_ppm: Mapping[str, int]) -> int:
    """By how much the metals, settled one by one, exceed the whole, ppm; zero where they do not."""
    return max(sum(settled_ppm.values()) - PPM, 0)


def give_way(settled_ppm: Mapping[str, int], metal: str) -> dict[str, int]:
    """The settled figures, ppm, with the metal that gives way made less by what they exceed the whole.

    No published rule says which metal that is: both parties agree on it. Raises Refused for a metal that can't.
    """
    excess = excess_ppm(settled_ppm)
    if not excess:
        return dict(settled_ppm)
    if settled_ppm.get(metal, 0) < excess:
        raise Refused(
            f"The metals settled one by one exceed the whole by {format_per_mille(excess)} per mille. Agree with the"
            " customer which of them gives way, and choose it.",
            field="gives_way",
        )
    return {**settled_ppm, metal: settled_ppm[metal] - excess}


def _line(metal: str, ours: int | None, theirs: int | None, limit: int | None) -> Exchanged:
    if ours is None:
        raise Refused(f"The refinery gave no result for {metal}.", field=metal)
    if limit is None:
        _check("refinery", ours)
        return Exchanged(metal, ours, theirs, None, Outcome.REFINERY, ours)
    if theirs is None:
        raise Refused(f"A splitting limit is agreed for {metal}, but the customer gave no result for it.", field=metal)
    if within_limit(ours, theirs, limit):
        return Exchanged(metal, ours, theirs, limit, Outcome.MEAN, half_even(ours + theirs, 2))
    return Exchanged(metal, ours, theirs, limit, Outcome.UMPIRE, None)


def _paid_by(refinery_ppm: int, customer_ppm: int, umpire_ppm: int) -> UmpirePaidBy:
    ours, theirs = abs(refinery_ppm - umpire_ppm), abs(customer_ppm - umpire_ppm)
    if ours == theirs:
        return UmpirePaidBy.SHARED
    return UmpirePaidBy.REFINERY if ours > theirs else UmpirePaidBy.CUSTOMER


def _check(name: str, ppm: int) -> None:
    if not 0 <= ppm <= PPM:
        raise Refused("A fineness lies between 0 and 1000 per mille.", field=name)
