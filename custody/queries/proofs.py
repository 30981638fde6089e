"""Proof assays in the order in which they were run: what each cornet or bead weighed more than the metal taken."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction

from custody.calc import control
from custody.calc.assay import Proof
from custody.models import WorksheetPiece, WorksheetReading
from custody.queries.worksheets import that_count
from custody.terms import PPM, PieceRole, ReadingOf

#: Limits are those of the first so many proofs: found once, they are kept, so that a slow drift is seen against them.
BASELINE = 20
#: Weight and width of the moving average (Montgomery, 8th ed., table 9.11: 0.10 with 2.7, average run of 500).
WEIGHT, WIDTH = Fraction(1, 10), Fraction(27, 10)
#: Fewer proofs have no limits.
FEWEST = 3
#: Signals in words.
WORDS = {
    control.Side.HIGH: "above the limits",
    control.Side.LOW: "below the limits",
    control.Side.RANGE: "too far from the one before",
}


@dataclass(frozen=True, slots=True)
class ProofPoint:
    """One proof that went through fire and acid. ``surcharge`` is in parts per thousand of the metal taken, exact."""

    number: int
    worksheet: str
    position: int
    proof_metal: str
    at: datetime
    taken_ug: int
    found_ug: int
    surcharge: Fraction


@dataclass(frozen=True, slots=True)
class ProofChart:
    """The proofs of one metal, and what the charts say of them: ``signals`` by number of the proof, in words."""

    metal: str
    points: tuple[ProofPoint, ...]
    individuals: control.Individuals | None
    average: control.Ewma | None
    signals: dict[int, str]


def proof_points(metal: str) -> list[ProofPoint]:
    """Every finished proof of a metal: gold by its cornet, silver by its bead; discarded pieces are left out."""
    gold = metal == "Au"
    role, of = (PieceRole.PROOF, ReadingOf.CORNET) if gold else (PieceRole.SILVER_PROOF, ReadingOf.BEAD)
    pieces = list(
        WorksheetPiece.objects.filter(role=role, proof_metal__metal=metal)
        .select_related("worksheet", "proof_metal")
        .order_by("worksheet__at", "worksheet_id", "position")
    )
    read = that_count(WorksheetReading.objects.filter(piece__in=pieces).order_by("id"))
    points = []
    for piece in pieces:
        taken, found = read.get((piece.pk, ReadingOf.PORTION, "")), read.get((piece.pk, of, ""))
        if taken is None or found is None or (piece.pk, ReadingOf.DISCARDED, "") in read:
            continue
        proof = Proof(taken.value, found.value, piece.proof_metal.purity_ppm)
        points.append(
            ProofPoint(
                number=len(points) + 1,
                worksheet=piece.worksheet.number,
                position=piece.position,
                proof_metal=piece.proof_metal.code,
                at=found.at,
                taken_ug=taken.value,
                found_ug=found.value,
                surcharge=proof.surcharge_ug * 1000 * PPM / (taken.value * piece.proof_metal.purity_ppm),
            )
        )
    return points


def proof_chart(metal: str) -> ProofChart:
    """The chart of a metal's proofs: individuals with moving ranges, and the moving average that shows a drift."""
    points = tuple(proof_points(metal))
    values = [point.surcharge for point in points]
    if len(values) < FEWEST or len(set(values[:BASELINE])) == 1:
        return ProofChart(metal, points, None, None, {})
    single = control.individuals(values, baseline=min(BASELINE, len(values)))
    sigma = single.mean_range / control.D2
    average = control.ewma(values, target=single.centre, sigma=sigma, weight=WEIGHT, width=WIDTH)
    return ProofChart(metal, points, single, average, _signals(single.signals, average.signals))


def _signals(single: Iterable[control.Signal], average: Iterable[control.Signal]) -> dict[int, str]:
    found: dict[int, list[str]] = {}
    for signal in single:
        found.setdefault(signal.point, []).append(WORDS[signal.side])
    for signal in average:
        side = "high" if signal.side is control.Side.HIGH else "low"
        found.setdefault(signal.point, []).append(f"the average drifts {side}")
    return {number: "; ".join(words) for number, words in sorted(found.items())}
