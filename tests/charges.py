"""Worksheets to test on: a charge opened by Anna on a checked balance, and its readings."""

from uuid import uuid4

from django.utils import timezone

from custody.actions.indications import indicate
from custody.actions.report import Said, report
from custody.actions.worksheets import (
    Pieces,
    Plan,
    Proofs,
    enter_proof_metal,
    import_readings,
    open_worksheet,
    record_readings,
)
from custody.calc.density import Indication as Range
from custody.calc.worksheet_file import Read
from custody.models import Lot, ProofMetal, User, Worksheet
from custody.queries.worksheets import book_of
from custody.terms import PPM, Method, PieceRole, ReadingOf
from tests import builders, people

P, A, B, C = ReadingOf.PORTION, ReadingOf.SILVER_ADDED, ReadingOf.BEAD, ReadingOf.CORNET
V, CL = ReadingOf.VOLUME, ReadingOf.CHLORIDE


def pure(metal: str = "Au", purity_ppm: int = PPM, uncertainty_ppm: int = 0) -> ProofMetal:
    """A proof metal of the house."""
    code = f"P{metal}-{purity_ppm}-{uncertainty_ppm}"
    return ProofMetal.objects.filter(code=code).first() or enter_proof_metal(
        code=code, metal=metal, purity_ppm=purity_ppm, uncertainty_ppm=uncertainty_ppm, by=people.anna_assayer()
    )


def opened(
    *lots: Lot | Pieces,
    method: Method = Method.FIRE_ASSAY,
    metal: str = "Au",
    proofs: int = 0,
    silver_proofs: int = 0,
    standards: int = 0,
    purity_ppm: int = PPM,
    uncertainty_ppm: int = 0,
    by: User | None = None,
    checked: bool = True,
) -> Worksheet:
    """A worksheet of these lots, in duplicate unless ``Pieces`` says otherwise, weighed on BAL-1."""
    roles = ((PieceRole.PROOF, proofs), (PieceRole.SILVER_PROOF, silver_proofs), (PieceRole.STANDARD, standards))
    plan = Plan(
        method=method,
        metal=metal,
        pieces=[lot if isinstance(lot, Pieces) else Pieces(lot) for lot in lots],
        proofs=[
            Proofs(role, pure("Au" if role is PieceRole.PROOF else "Ag", purity_ppm, uncertainty_ppm), count)
            for role, count in roles
            if count
        ],
        place=builders.place("LAB"),
        balance=None if method is Method.ICP else builders.scale("BAL-1", checked=checked),
    )
    return open_worksheet(plan=plan, at=timezone.now(), by=by or people.anna_assayer())


def read(
    worksheet: Worksheet, role: PieceRole, *pieces: dict, lot: str = "", by: User | None = None, reason: str = ""
) -> int:
    """Readings of the pieces of one role (and lot) in the order of the tray, each a dict by ReadingOf."""
    rows = worksheet.pieces.filter(role=str(role), **({"lot__number": lot} if lot else {})).order_by("position")
    readings = [
        Read(row.position, of, value) for row, piece in zip(rows, pieces, strict=True) for of, value in piece.items()
    ]
    return record_readings(
        worksheet=worksheet,
        readings=readings,
        seen=book_of(worksheet, own=False).seen,
        reason=reason,
        at=timezone.now(),
        by=by or people.anna_assayer(),
    )


def reported(worksheet: Worksheet, *lots: Lot, by: User | None = None, **said):
    """The report of these lots."""
    return report(
        worksheet=worksheet,
        lots=[Said(lot.number, **said) for lot in lots],
        seen=book_of(worksheet).seen,
        at=timezone.now(),
        by=by or people.anna_assayer(),
        request_key=uuid4(),
    )


def agreeing(lot: Lot, *, cornets: tuple[int, int] = (229_100, 229_150), by: User | None = None) -> Worksheet:
    """A charge of one lot in duplicate, 250 mg each, with one proof that loses and gains nothing."""
    worksheet = opened(lot, proofs=1, by=by)
    read(worksheet, PieceRole.PROOF, {P: 230_000, C: 230_000}, by=by)
    read(worksheet, PieceRole.SAMPLE, *({P: 250_000, A: 570_000, B: 800_000, C: one} for one in cornets), by=by)
    return worksheet


def whole_charge() -> Worksheet:
    """A reported charge with a row in every table of the laboratory: one lot agrees, the other is assayed again."""
    good, bad = builders.received(60_000, 70_000)
    worksheet = opened(good, bad, proofs=1, by=people.ada_assayer())
    lines = [f"{worksheet.number},{position},portion,250" for position in range(1, 6)]
    import_readings(
        worksheet=worksheet,
        name="balance.csv",
        text="\n".join(["worksheet,position,of,mg", *lines]),
        at=timezone.now(),
        by=people.anna_assayer(),
    )
    read(worksheet, PieceRole.PROOF, {C: 250_000})
    read(worksheet, PieceRole.SAMPLE, {C: 200_000}, {C: 200_010}, lot=good.number)
    read(worksheet, PieceRole.SAMPLE, {C: 200_000}, {C: 201_000}, lot=bad.number)
    reported(worksheet, good, bad)
    found = Range(790_000, 810_000)
    indicate(
        lot=bad, method=Method.XRF, metal="Au", found=found, figures="800", at=timezone.now(), by=people.anna_assayer()
    )
    return worksheet
