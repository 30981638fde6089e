"""A laboratory's worksheet: which pieces lie on the tray, what is read of each, and how much silver a portion takes.

Masses are whole micrograms, volumes whole microlitres, impurities whole micrograms per kilogram, fineness whole ppm.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from custody.calc.assay import Proof, silver_to_add_ug
from custody.calc.high_purity import Impurity
from custody.calc.refusals import Refused
from custody.terms import PPM, Method, PieceRole, ReadingOf

P, A, B, C = ReadingOf.PORTION, ReadingOf.SILVER_ADDED, ReadingOf.BEAD, ReadingOf.CORNET

#: What is read of a piece, in the order of the work. The first and the last are needed; what lies between is kept.
COLUMNS: dict[Method, dict[PieceRole, tuple[ReadingOf, ...]]] = {
    Method.FIRE_ASSAY: {
        PieceRole.SAMPLE: (P, A, B, C),
        PieceRole.SILVER_SAMPLE: (P, B),
        PieceRole.PROOF: (P, A, B, C),
        PieceRole.SILVER_PROOF: (P, B),
    },
    Method.SALT_TITRATION: {
        PieceRole.SAMPLE: (P, A, ReadingOf.VOLUME),
        PieceRole.STANDARD: (P, ReadingOf.VOLUME),
    },
    Method.TITRATION: {PieceRole.SAMPLE: (P, ReadingOf.VOLUME), PieceRole.STANDARD: (P, ReadingOf.VOLUME)},
    Method.GRAVIMETRY: {PieceRole.SAMPLE: (P, ReadingOf.CHLORIDE)},
    Method.ICP: {PieceRole.SAMPLE: (ReadingOf.IMPURITY,)},
}

#: Metals that each method finds.
FINDS = {
    Method.FIRE_ASSAY: ("Au", "Ag"),
    Method.SALT_TITRATION: ("Ag",),
    Method.TITRATION: ("Ag",),
    Method.GRAVIMETRY: ("Ag",),
    Method.ICP: ("Au", "Ag", "Pt", "Pd"),
}

#: More pieces than this lie on no tray.
MOST_PIECES = 60


@dataclass(frozen=True, slots=True)
class Pure:
    """A proof metal: its symbol, certified purity in ppm, and that purity's expanded uncertainty (k = 2) in ppm."""

    code: str
    metal: str
    purity_ppm: int = PPM
    uncertainty_ppm: int = 0


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of a worksheet with the readings that count. ``discarded`` says why it does not count."""

    position: int
    role: PieceRole
    lot: str = ""
    pure: Pure | None = None
    readings: Mapping[ReadingOf, int] = field(default_factory=dict)
    impurities: tuple[Impurity, ...] = ()
    discarded: str = ""

    @property
    def portion_ug(self) -> int:
        """Micrograms taken; raises KeyError before they were read."""
        return self.readings[ReadingOf.PORTION]

    def missing(self, method: Method) -> str:
        """The first reading without which the piece has no result; empty when nothing is missing."""
        columns = COLUMNS[method][self.role]
        if columns[-1] is ReadingOf.IMPURITY:
            return "" if self.impurities else ReadingOf.IMPURITY.label
        return next((of.label for of in (columns[0], columns[-1]) if of not in self.readings), "")

    def as_proof(self, found: ReadingOf) -> Proof:
        """The piece as a proof, found by its cornet or its bead."""
        return Proof(self.portion_ug, self.readings[found], self.pure.purity_ppm)


@dataclass(frozen=True, slots=True)
class Wanted:
    """How many pieces of one lot are run, and how many of them without added silver."""

    lot: str
    portions: int
    silver: int = 0


@dataclass(frozen=True, slots=True)
class Laid:
    """What lies at one position of the tray: a piece of a lot, or of a proof metal by its code."""

    position: int
    role: PieceRole
    lot: str = ""
    pure: str = ""


def lay_out(wanted: Sequence[Wanted], proofs: Sequence[tuple[PieceRole, str]]) -> list[Laid]:
    """Positions from 1 on: half of the proofs before the samples and half behind, so that they see the whole furnace.

    Raises Refused without a lot, for a lot without a piece, and for more pieces than a tray holds.
    """
    if not wanted:
        raise Refused("A worksheet has at least one lot.", field="lot")
    for one in wanted:
        if one.portions + one.silver < 1:
            raise Refused(f"Lot {one.lot} has no piece. Take it in duplicate.", field="portions")
    before = (len(proofs) + 1) // 2
    pieces = [(role, "", code) for role, code in proofs[:before]]
    for one in wanted:
        pieces += [(PieceRole.SAMPLE, one.lot, "")] * one.portions
        pieces += [(PieceRole.SILVER_SAMPLE, one.lot, "")] * one.silver
    pieces += [(role, "", code) for role, code in proofs[before:]]
    if len(pieces) > MOST_PIECES:
        raise Refused(f"{len(pieces)} pieces do not fit; a worksheet holds {MOST_PIECES}.", field="portions")
    return [Laid(number, *piece) for number, piece in enumerate(pieces, 1)]


def columns_of(method: Method, pieces: Sequence[Piece]) -> list[ReadingOf]:
    """What the pieces of a worksheet have columns for, in the order of the work."""
    asked = [COLUMNS[method][role] for role in COLUMNS[method] if any(piece.role is role for piece in pieces)]
    return [of for of in ReadingOf if any(of in columns for columns in asked)]


def silver_for(piece: Piece, expected_ppm: tuple[int, int] | None, *, ratio: Fraction) -> int | None:
    """Micrograms of silver that a weighed portion takes before it is cupelled and parted; None where none is said.

    ``expected_ppm`` is the gold and silver that the lot may hold; a proof holds its certified metal.
    """
    parted = piece.role in (PieceRole.SAMPLE, PieceRole.PROOF) and not piece.discarded
    if not parted or not piece.readings.get(ReadingOf.PORTION):
        return None
    if piece.pure:
        expected_ppm = (piece.pure.purity_ppm, 0)
    if expected_ppm is None:
        return None
    return silver_to_add_ug(piece.portion_ug, *expected_ppm, ratio=ratio)
