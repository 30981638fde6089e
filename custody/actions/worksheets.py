"""Worksheets: opening one, keeping its readings, discarding a piece, and reporting what it says of its lots."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._lock_worksheet import lock_worksheet
from custody.actions._numbers import next_number
from custody.calc.worksheet import COLUMNS, FINDS, Laid, Wanted, lay_out
from custody.calc.worksheet_file import Read, read_file
from custody.errors import Conflict, Refusal, RequestKey
from custody.models import (
    Lot,
    Place,
    ProofMetal,
    Scale,
    User,
    Worksheet,
    WorksheetImport,
    WorksheetPiece,
    WorksheetReading,
)
from custody.queries.worksheets import sampled, that_count
from custody.roles import Verb
from custody.terms import PPM, Method, PieceRole, ReadingOf


@dataclass(frozen=True, slots=True)
class Pieces:
    """How many pieces of a scanned lot or sample are run: with silver added and parted, and without."""

    scanned: Lot
    portions: int = 2
    silver: int = 0


@dataclass(frozen=True, slots=True)
class Proofs:
    """How many proofs or standards of one metal run beside the samples."""

    role: PieceRole
    metal: ProofMetal
    count: int = 2


@dataclass(frozen=True, slots=True)
class Plan:
    """What a worksheet is for, and what lies on its tray."""

    method: Method
    metal: str
    pieces: Sequence[Pieces]
    proofs: Sequence[Proofs] = field(default_factory=tuple)
    place: Place | None = None
    balance: Scale | None = None
    note: str = ""


def enter_proof_metal(
    *, code: str, metal: str, purity_ppm: int, by: User | None, uncertainty_ppm: int = 0, certificate: str = ""
) -> ProofMetal:
    """Enters pure metal by its certificate; ``uncertainty_ppm`` is the expanded one (k = 2).

    ``by`` is empty only for the demo's first layout. Raises ``NotAllowed`` and ``Refusal``.
    """
    if by is not None:
        require(by, Verb.DETERMINE)
    if not 0 < purity_ppm <= PPM or not 0 <= uncertainty_ppm <= PPM:
        raise Refusal("A purity is more than 0 and at most 1000 per mille, its uncertainty 0 or more.").at("purity")
    try:
        with transaction.atomic():
            return ProofMetal.objects.create(
                code=code, metal=metal, purity_ppm=purity_ppm, uncertainty_ppm=uncertainty_ppm, certificate=certificate
            )
    except IntegrityError as error:
        raise Refusal(f"There is a proof metal {code} already.").at("code") from error


def set_proof_metal_in_use(*, proof_metal: ProofMetal, active: bool, by: User) -> None:
    """Takes a proof metal out of use, or back. Raises ``NotAllowed``."""
    require(by, Verb.DETERMINE)
    ProofMetal.objects.filter(pk=proof_metal.pk).update(active=active)


def open_worksheet(*, plan: Plan, at: datetime, by: User, request_key: UUID | None = None) -> Worksheet:
    """Opens a worksheet with its pieces laid out; a sample's label stands for the lot that it was drawn from.

    The same form sent twice (``request_key``) is one worksheet. Raises ``NotAllowed``, ``Refusal`` and ``Refused``.
    """
    require(by, Verb.DETERMINE)
    earlier = Worksheet.objects.filter(request_key=request_key).first() if request_key else None
    if earlier:
        if (earlier.method, earlier.metal, earlier.by_id) != (str(plan.method), plan.metal, by.pk):
            raise RequestKey(operation=earlier.number)
        return earlier
    _check(plan)
    speaks = {one.scanned.number: sampled(one.scanned) for one in plan.pieces}
    laid = _laid(plan, {number: of.number for number, (of, _) in speaks.items()})
    samples = {of.number: (of, sample) for of, sample in speaks.values()}
    metals = {one.metal.code: one.metal for one in plan.proofs}
    with _post.refusals(), transaction.atomic(durable=True):
        made = Worksheet.objects.create(
            number=next_number("W", "worksheet", at),
            method=str(plan.method),
            metal=plan.metal,
            place=plan.place,
            balance=plan.balance,
            note=plan.note.strip(),
            at=at,
            by=by,
            request_key=request_key,
        )
        WorksheetPiece.objects.bulk_create(_piece(made, one, samples, metals) for one in laid)
    return made


def record_readings(
    *, worksheet: Worksheet, readings: Sequence[Read], seen: int, at: datetime, by: User, reason: str = ""
) -> int:
    """Keeps what was read, and gives how many readings were new; what stands there already is not kept again.

    A reading that replaces another says why (``reason``); both stay. ``seen`` is the last reading that the person saw.
    Raises ``NotAllowed`` and ``Refusal``: a balance that was not checked that day or failed weighs nothing.
    """
    require(by, Verb.DETERMINE)
    with _post.refusals(), transaction.atomic(durable=True):
        lock_worksheet(worksheet)
        return _keep(worksheet, readings, seen=seen, reason=reason, at=at, by=by)


def discard_piece(*, worksheet: Worksheet, position: int, reason: str, at: datetime, by: User) -> None:
    """Discards a piece that spurted, was spilt or lost; its readings stay, and count no more.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.DETERMINE)
    if not reason.strip():
        raise Refusal("Say why the piece is discarded: it spurted, was spilt, was lost.").at("reason")
    with _post.refusals(), transaction.atomic(durable=True):
        lock_worksheet(worksheet)
        piece = WorksheetPiece.objects.filter(worksheet=worksheet, position=position).first()
        if piece is None:
            raise Refusal(f"Worksheet {worksheet.number} has no position {position}.").at("position")
        if piece.readings.filter(of=ReadingOf.DISCARDED).exists():
            return
        WorksheetReading.objects.create(
            piece=piece, of=ReadingOf.DISCARDED, value=0, reason=reason.strip(), at=at, by=by
        )


def import_readings(
    *, worksheet: Worksheet, name: str, text: str, at: datetime, by: User, reason: str = ""
) -> int | None:
    """Reads a file of a balance or an instrument, whole or not at all, and keeps it; gives how many readings were new.

    None: this very file was read before, and changes nothing. Raises ``NotAllowed``, ``Refusal`` and ``FileRefused``
    (calc.worksheet_file), whose faults name their lines.
    """
    require(by, Verb.DETERMINE)
    digest = hashlib.sha256(text.encode()).hexdigest()
    with _post.refusals(), transaction.atomic(durable=True):
        lock_worksheet(worksheet)
        if WorksheetImport.objects.filter(worksheet=worksheet, sha256=digest).exists():
            return None
        method = COLUMNS[Method(worksheet.method)]
        columns = {piece.position: method[PieceRole(piece.role)] for piece in worksheet.pieces.all()}
        readings = read_file(text, worksheet.number, columns, worksheet.metal)
        kept = WorksheetImport.objects.create(
            worksheet=worksheet, name=name[:200], sha256=digest, text=text, at=at, by=by
        )
        return _keep(worksheet, readings, seen=None, reason=reason, at=at, by=by, imported=kept)


def _check(plan: Plan) -> None:
    if plan.metal not in FINDS.get(plan.method, ()):
        raise Refusal(f"{plan.method.label} does not find {plan.metal}.").at("metal")
    if plan.balance is None and any(_is_mass(of) for columns in COLUMNS[plan.method].values() for of in columns):
        raise Refusal("Name the balance that the portions are weighed on.").at("balance")
    if plan.balance is not None and not plan.balance.active:
        raise Refusal(f"Balance {plan.balance.code} is out of use.").at("balance")
    for one in plan.proofs:
        if one.role not in COLUMNS[plan.method]:
            raise Refusal(f"{plan.method.label} has no {one.role.label}.").at("proof")
        wanted = "Au" if one.role is PieceRole.PROOF else "Ag"
        if one.count and (one.metal.metal != wanted or not one.metal.active):
            raise Refusal(f"A {one.role.label} is of {wanted} in use, and {one.metal.code} is not.").at("proof")


def _laid(plan: Plan, lot_of: dict[str, str]) -> list[Laid]:
    """The tray; a fire assay of silver alone has no parted pieces."""
    silver_alone = plan.method is Method.FIRE_ASSAY and plan.metal == "Ag"
    wanted = []
    for one in plan.pieces:
        lot = lot_of[one.scanned.number]
        if any(lot == other.lot for other in wanted):
            raise Refusal(f"Lot {lot} is on the tray already. Say there how many pieces are run.").at("lot")
        if silver_alone:
            wanted.append(Wanted(lot, 0, one.portions + one.silver))
            continue
        if one.silver and (plan.method is not Method.FIRE_ASSAY):
            raise Refusal("Only a fire assay of gold has pieces without added silver.").at("silver")
        if one.silver and not one.portions:
            raise Refusal("Silver by difference needs the gold: run parted pieces of the lot too.").at("portions")
        wanted.append(Wanted(lot, one.portions, one.silver))
    proofs = [(one.role, one.metal.code) for one in plan.proofs for _ in range(one.count)]
    return lay_out(wanted, proofs)


def _piece(worksheet: Worksheet, one: Laid, samples: dict, metals: dict) -> WorksheetPiece:
    lot, sample = samples.get(one.lot, (None, None))
    return WorksheetPiece(
        worksheet=worksheet,
        position=one.position,
        role=str(one.role),
        lot=lot,
        sample=sample,
        proof_metal=metals.get(one.pure),
    )


def _keep(
    worksheet: Worksheet,
    readings: Sequence[Read],
    *,
    seen: int | None,
    reason: str,
    at: datetime,
    by: User,
    imported: WorksheetImport | None = None,
) -> int:
    """Keeps the readings that say something new, inside the caller's transaction and lock."""
    pieces = {piece.position: piece for piece in worksheet.pieces.all()}
    before = list(WorksheetReading.objects.filter(piece__worksheet=worksheet).order_by("id"))
    latest = that_count(before)
    new = []
    for read in readings:
        piece = pieces.get(read.position)
        if piece is None:
            raise Refusal(f"Worksheet {worksheet.number} has no position {read.position}.").at("position")
        earlier = latest.get((piece.pk, str(read.of), read.element))
        if earlier and (earlier.value, earlier.undetected) == (read.value, read.undetected):
            continue
        if (piece.pk, str(ReadingOf.DISCARDED), "") in latest:
            raise Refusal(f"The piece at position {read.position} was discarded.").at(read.name)
        if earlier and not reason.strip():
            what = f"{read.of.label} at position {read.position}".strip()
            raise Refusal(f"The {what} was read before. Say why another figure replaces it.").at("reason")
        new.append(
            WorksheetReading(
                piece=piece,
                of=str(read.of),
                element=read.element,
                value=read.value,
                undetected=read.undetected,
                imported=imported,
                reason=reason.strip() if earlier else "",
                at=at,
                by=by,
            )
        )
    if new and seen is not None and before and before[-1].pk > seen:
        raise Conflict("Readings came in since this page was opened. Look at them, then record yours again.")
    WorksheetReading.objects.bulk_create(new)
    return len(new)


def _is_mass(of: ReadingOf) -> bool:
    return of not in (ReadingOf.VOLUME, ReadingOf.IMPURITY, ReadingOf.DISCARDED)
