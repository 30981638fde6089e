"""The steps of the plant: melt, sample, refine, run, cast, divide; and what mends them: difference, reversal."""

from dataclasses import dataclass, field
from datetime import date, datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.actions._weighings import keep_weighings
from custody.actions.weigh import Weighed
from custody.models import Operation, Place, User
from custody.roles import Verb, verb_of
from custody.terms import METALS, Addition, Cause, Form, Kind, Purpose, SampleCut, SamplePurpose


@dataclass(frozen=True, slots=True)
class Take:
    """A lot that goes in: whole, or so many milligrams of it; a draw from a run names its metals."""

    lot: str
    gross_mg: int | None = None
    fine_mg: dict[str, int] | None = None

    def as_request(self) -> dict:
        """The entry of ``inputs``."""
        entry = {"lot": self.lot}
        if self.gross_mg is not None:
            entry["gross_mg"] = self.gross_mg
        if self.fine_mg is not None:
            entry["fine_mg"] = self.fine_mg
        return entry


@dataclass(frozen=True, slots=True)
class Drawn:
    """How a sample was cut, for whom, under which seal, where on the lot, and who watched."""

    cut: SampleCut
    purpose: SamplePurpose
    seal: str = ""
    position: str = ""
    witness: str = ""

    def as_request(self) -> dict:
        """The entry ``sample`` of an output."""
        return {
            "cut": str(self.cut),
            "purpose": str(self.purpose),
            "seal": self.seal,
            "position": self.position,
            "witness": self.witness,
        }


@dataclass(frozen=True, slots=True)
class Make:
    """A lot that comes out, as the scale and the book say; milligrams. Empty ``fine_mg`` where it is unvalued.

    ``weighed`` is how its gross was found; ``drawn`` says what a sample is.
    """

    form: Form
    gross_mg: int
    fine_mg: dict[str, int] = field(default_factory=dict)
    place: str = ""
    serial: str = ""
    replaces: str = ""
    lot: str = ""
    vessel: str = ""
    weighed: Weighed | None = None
    drawn: Drawn | None = None

    def as_request(self) -> dict:
        """The entry of ``outputs``."""
        entry = {"form": str(self.form), "gross_mg": self.gross_mg, "fine_mg": self.fine_mg}
        if self.drawn:
            entry["sample"] = self.drawn.as_request()
        for key in ("place", "serial", "replaces", "lot", "vessel"):
            if getattr(self, key):
                entry[key] = getattr(self, key)
        return entry


@dataclass(frozen=True, slots=True)
class Add:
    """An addition: mass from outside the book, no metal."""

    what: Addition
    gross_mg: int

    def as_request(self) -> dict:
        """The entry of ``additions``."""
        return {"what": str(self.what), "gross_mg": self.gross_mg}


@dataclass(frozen=True, slots=True)
class Lose:
    """A declared loss by its cause, milligrams; a gain over book is negative."""

    cause: Cause
    gross_mg: int
    fine_mg: dict[str, int] = field(default_factory=dict)
    words: str = ""

    def as_request(self) -> dict:
        """The entry of ``losses``."""
        return {
            "cause": str(self.cause),
            "gross_mg": self.gross_mg,
            "fine_mg": self.fine_mg,
            "words": self.words,
        }


def record_step(
    *,
    kind: Kind,
    inputs: list[Take],
    outputs: list[Make],
    at: datetime,
    by: User,
    place: Place | None = None,
    additions: tuple[Add, ...] = (),
    losses: tuple[Lose, ...] = (),
    reason: str = "",
    step: Kind | None = None,
    countersign: Signature | None = None,
    weighed_in: dict[str, Weighed] | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Records one step or one event of a run, balanced to the milligram, in the custody of ``by``.

    ``step`` names the wet step that a first charge opens; ``weighed_in`` are weighings of the lots that went in, by
    number. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, verb_of(kind))
    with _post.refusals(), transaction.atomic(durable=True):
        posted = _post.post_in_transaction(
            {
                "kind": str(kind),
                "at": at,
                "by": by.pk,
                "place": place.code if place else None,
                "reason": reason.strip() or None,
                "step": str(step) if step else None,
                "inputs": [take.as_request() for take in inputs],
                "additions": [add.as_request() for add in additions],
                "outputs": [make.as_request() for make in outputs],
                "losses": [lose.as_request() for lose in losses],
                "request_key": request_key,
                **(countersign.as_request() if countersign else {}),
            }
        )
        if not posted.replayed:
            before, after = _PURPOSES.get(kind, (Purpose.STEP, Purpose.STEP))
            made = {lot: make.weighed for lot, make in zip(posted.lots, outputs, strict=True) if make.weighed}
            keep_weighings(weighed_in or {}, purpose=before, at=at, by=by, operation=posted.id)
            keep_weighings(made, purpose=after, at=at, by=by, operation=posted.id)
    return posted


#: What the weighings of lots that go in and of lots that come out were for, where a step has words of its own.
_PURPOSES = {
    Kind.MELT: (Purpose.BEFORE_MELT, Purpose.AFTER_MELT),
    Kind.SAMPLE: (Purpose.SAMPLE, Purpose.SAMPLE),
}


def correct_lot(
    *,
    lot: str,
    gross_mg: int,
    fine_mg: dict[str, int],
    book_mg: tuple[int, ...],
    at: datetime,
    reason: str,
    countersign: Signature,
    by: User,
    about: date | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Posts the difference between a lot's book (gross and five metals, mg) and what was measured, openly.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.CORRECT)
    measured = (gross_mg, *(fine_mg.get(metal, 0) for metal in METALS))
    gap = [book - now for book, now in zip(book_mg, measured, strict=True)]
    return _post.post(
        {
            "kind": str(Kind.DIFFERENCE),
            "at": at,
            "by": by.pk,
            "about": about.isoformat() if about else None,
            "reason": reason.strip(),
            "inputs": [{"lot": lot}],
            "outputs": [{"form": "other", "gross_mg": gross_mg, "fine_mg": fine_mg}],
            "losses": [
                {
                    "cause": str(Cause.DIFFERENCE),
                    "gross_mg": gap[0],
                    "fine_mg": dict(zip(METALS, gap[1:], strict=True)),
                }
            ],
            "request_key": request_key,
            **countersign.as_request(),
        }
    )


def reverse(
    *, operation: Operation, reason: str, at: datetime, by: User, request_key: UUID | None = None
) -> _post.Posted:
    """Undoes a whole operation by a mirror operation that names it; both stay in the record.

    Raises ``NotAllowed`` and ``Refusal`` (which names what to reverse first).
    """
    require(by, Verb.REVERSE)
    return _post.post(
        {
            "kind": str(Kind.REVERSE),
            "at": at,
            "by": by.pk,
            "reverses": operation.number,
            "reason": reason.strip() or None,
            "request_key": request_key,
        }
    )
