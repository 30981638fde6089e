"""A step as it is told to the book, and its recording inside the transaction of an action."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from uuid import UUID

from custody.actions import _post
from custody.actions._sign import Signature
from custody.actions._weighings import keep_weighings
from custody.actions.weigh import Weighed
from custody.calc.apportion import divide, withdraw
from custody.errors import NegativeAmount, Overdraw, Refusal, UnknownLot
from custody.models import Lot, Place, RouteOrder, RouteOrderWork, User
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

    ``weighed`` is how its gross was found; ``drawn`` says what a sample is; ``words`` stand beside its line.
    """

    form: Form
    gross_mg: int
    fine_mg: dict[str, int] = field(default_factory=dict)
    place: str = ""
    serial: str = ""
    replaces: str = ""
    lot: str = ""
    vessel: str = ""
    bar_type: str = ""
    weighed: Weighed | None = None
    drawn: Drawn | None = None
    words: str = ""

    def as_request(self) -> dict:
        """The entry of ``outputs``."""
        entry = {"form": str(self.form), "gross_mg": self.gross_mg, "fine_mg": self.fine_mg}
        if self.drawn:
            entry["sample"] = self.drawn.as_request()
        for key in ("place", "serial", "replaces", "lot", "vessel", "bar_type", "words"):
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


@dataclass(frozen=True, slots=True)
class ForOrder:
    """The route order that a step is work on, and at which of its stations."""

    order: RouteOrder
    station: str

    def keep(self, operation: int) -> None:
        """Notes it beside the operation. Raises ``Refusal`` for a station that the order does not have."""
        if self.station not in self.order.steps:
            raise Refusal(f"Order {self.order.number} has no station {self.station}.").at("order")
        RouteOrderWork.objects.create(order=self.order, operation_id=operation, station=self.station)


def record(
    *,
    kind: Kind,
    inputs: Sequence[Take],
    outputs: Sequence[Make],
    at: datetime,
    by: User,
    place: Place | None = None,
    additions: Sequence[Add] = (),
    losses: Sequence[Lose] = (),
    reason: str = "",
    step: Kind | None = None,
    countersign: Signature | None = None,
    weighed_in: dict[str, Weighed] | None = None,
    for_order: ForOrder | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Records one step with its weighings, inside the transaction that the caller's action has open."""
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
        if for_order:
            for_order.keep(posted.id)
    return posted


#: What the weighings of lots that go in and of lots that come out were for, where a step has words of its own.
_PURPOSES = {
    Kind.MELT: (Purpose.BEFORE_MELT, Purpose.AFTER_MELT),
    Kind.SAMPLE: (Purpose.SAMPLE, Purpose.SAMPLE),
}


def lot_named(number: str) -> Lot:
    """The lot of this number. Raises ``UnknownLot``."""
    lot = Lot.objects.filter(number=number).first()
    if lot is None:
        raise UnknownLot(lot=number)
    return lot


@dataclass(frozen=True, slots=True)
class Split:
    """What is taken from a lot, and how its metals go with each part and each loss."""

    take: Take
    outputs: list[Make]
    losses: list[Lose]


def split(lot: Lot, parts: Sequence[Make], losses: Sequence[Lose]) -> Split:
    """Parts and losses of one lot by their gross, each with its share of every metal by largest remainder.

    Raises ``NegativeAmount`` for a loss below zero, and ``Overdraw`` where they are more than the lot holds.
    """
    masses = [one.gross_mg for one in (*parts, *losses)]
    taken = sum(masses)
    if any(mg < 0 for mg in masses):
        raise NegativeAmount("Nothing is found again here: a loss is more than zero.")
    if taken > lot.gross_mg:
        raise Overdraw(lot=lot.number, book_mg=lot.gross_mg, missing_mg=taken - lot.gross_mg)
    metals = lot.metals_mg if taken == lot.gross_mg else withdraw(lot.gross_mg, lot.metals_mg, taken)
    shares = [dict(zip(METALS, share, strict=True)) for share in divide(taken, metals, masses)]
    return Split(
        Take(lot.number, taken),
        [replace(part, fine_mg=fine) for part, fine in zip(parts, shares[: len(parts)], strict=True)],
        [replace(loss, fine_mg=fine) for loss, fine in zip(losses, shares[len(parts) :], strict=True)],
    )
