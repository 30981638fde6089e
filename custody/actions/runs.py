"""Runs: charge a vessel, draw from it, finish it; what runs straight on into the next vessel is one transaction."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.actions._steps import Add, ForOrder, Lose, Make, Take, record
from custody.calc.apportion import withdraw
from custody.calc.balance import total
from custody.calc.rounding import half_even
from custody.calc.solutions import litres
from custody.errors import OverCapacity, Refusal, UnknownLot
from custody.models import Lot, Operation, Place, User
from custody.queries.tanks import volume_of
from custody.roles import verb_of
from custody.terms import METALS, Form, Kind


@dataclass(frozen=True, slots=True)
class Into:
    """A vessel that a liquor runs into at once; ``step`` is that of the run that it opens in an empty one."""

    vessel: Place
    step: Kind


@dataclass(frozen=True, slots=True)
class Event:
    """Who does it, when, why, who signs beside, and for which order."""

    at: datetime
    by: User
    reason: str = ""
    countersign: Signature | None = None
    for_order: ForOrder | None = None
    request_key: UUID | None = None

    def as_arguments(self, *, first: bool = True) -> dict:
        """For the recording of one operation; only the first of several counts for the form that was sent."""
        told = {"at": self.at, "by": self.by, "reason": self.reason, "for_order": self.for_order}
        return told | ({"countersign": self.countersign, "request_key": self.request_key} if first else {})


def charge_vessel(
    *,
    into: Into,
    inputs: Sequence[Take],
    additions: Sequence[Add] = (),
    at: datetime,
    by: User,
    reason: str = "",
    countersign: Signature | None = None,
    for_order: ForOrder | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Lots and additions go into a vessel, with what it holds already; the content is all of it.

    Raises ``NotAllowed`` and ``Refusal``; ``OverCapacity`` where the vessel holds less and no reason is given.
    """
    require(by, verb_of(Kind.CHARGE))
    event = Event(at, by, reason, countersign, for_order, request_key)
    with _post.refusals(), transaction.atomic(durable=True):
        return _charge(into, inputs, additions, event, first=True)


def draw_from(
    *,
    kind: Kind,
    content: Lot,
    take: Take,
    outputs: Sequence[Make],
    at: datetime,
    by: User,
    into: Mapping[int, Into] | None = None,
    additions: Sequence[Add] = (),
    losses: Sequence[Lose] = (),
    place: Place | None = None,
    reason: str = "",
    countersign: Signature | None = None,
    for_order: ForOrder | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Products leave a run (``kind`` draw or finish); those named in ``into``, by their place in ``outputs``, run on.

    What runs on is charged into its vessel in the same transaction, so no liquor is ever between two vessels. Gives the
    draw. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, verb_of(kind))
    event = Event(at, by, reason, countersign, for_order, request_key)
    with _post.refusals(), transaction.atomic(durable=True):
        return _draw(kind, content, take, outputs, into or {}, additions, losses, place, event)


def let_overflow(
    *,
    content: Lot,
    volume_ml: int,
    step: Kind,
    at: datetime,
    by: User,
    reason: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """So many millilitres run from a tank into the one it overflows to, metals pro rata; ``step`` opens a run there.

    Gross and metals follow the content's volume, by its last assay or as water. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, verb_of(Kind.DRAW))
    held = Lot.objects.select_related("place__vessel__overflows_to", "run").filter(pk=content.pk).first()
    earlier = Operation.objects.filter(request_key=request_key).first() if request_key else None
    if earlier:
        return _post.Posted(earlier.pk, earlier.number, (), True)
    if held is None or held.form != Form.IN_PROCESS or not held.gross_mg:
        raise Refusal("The tank holds nothing now.").at("volume")
    vessel = getattr(held.place, "vessel", None)
    if vessel is None or vessel.overflows_to is None:
        raise Refusal(f"Nobody said into which tank {held.place} overflows. A manager sets it first.").at("volume")
    whole = volume_of(held).ml
    if not 0 < volume_ml < whole:
        raise Refusal(
            f"{held.place} holds {litres(whole)} L: less than that runs over. To drain it, finish its run."
        ).at("volume")
    gross = half_even(held.gross_mg * volume_ml, whole)
    fine = dict(zip(METALS, withdraw(held.gross_mg, held.metals_mg, gross), strict=True))
    return draw_from(
        kind=Kind.DRAW,
        content=held,
        take=Take(held.number, gross, fine),
        outputs=[Make(Form.SOLUTION, gross, fine)],
        into={0: Into(vessel.overflows_to, step)},
        at=at,
        by=by,
        reason=reason,
        countersign=countersign,
        request_key=request_key,
    )


def _draw(
    kind: Kind, content: Lot, take: Take, outputs: Sequence[Make], into: Mapping[int, Into],
    additions: Sequence[Add], losses: Sequence[Lose], place: Place | None, event: Event,
) -> _post.Posted:  # fmt: skip
    posted = record(
        kind=kind, inputs=[take], outputs=outputs, additions=additions, losses=losses, place=place,
        **event.as_arguments(),
    )  # fmt: skip
    if posted.replayed:
        return posted
    running: dict[int, list[str]] = defaultdict(list)
    for position, onward in into.items():
        if onward.vessel.pk == content.place_id and kind is Kind.DRAW:
            raise Refusal(f"{onward.vessel} is the vessel that it runs out of.").at("into")
        running[onward.vessel.pk].append(posted.lots[position])
    for onward in {onward.vessel.pk: onward for onward in into.values()}.values():
        _charge(onward, [Take(lot) for lot in running[onward.vessel.pk]], (), event, first=False)
    return posted


def _charge(into: Into, inputs: Sequence[Take], additions: Sequence[Add], event: Event, *, first: bool) -> _post.Posted:
    held = Lot.objects.filter(place=into.vessel, form=Form.IN_PROCESS, gross_mg__gt=0).first()
    lots = Lot.objects.in_bulk([take.lot for take in inputs], field_name="number")
    for take in inputs:
        if take.lot not in lots:
            raise UnknownLot(lot=take.lot)
    added = [(add.gross_mg, *(0,) * len(METALS)) for add in additions]
    goes_in = [_columns(lots[take.lot], take.gross_mg) for take in inputs] + added
    made = total(goes_in + ([held.columns_mg] if held else []))
    if not event.reason.strip():
        _check_room(into.vessel, held, total(goes_in))
    return record(
        kind=Kind.CHARGE,
        step=into.step,
        inputs=[*([Take(held.number)] if held else []), *inputs],
        additions=additions,
        outputs=[Make(Form.IN_PROCESS, made[0], dict(zip(METALS, made[1:], strict=True)), vessel=into.vessel.code)],
        place=into.vessel,
        **event.as_arguments(first=first),
    )


def _columns(lot: Lot, part_mg: int | None) -> tuple[int, ...]:
    if part_mg is None or part_mg >= lot.gross_mg:
        return lot.columns_mg
    return (part_mg, *withdraw(lot.gross_mg, lot.metals_mg, part_mg))


def _check_room(place: Place, held: Lot | None, goes_in: Sequence[int]) -> None:
    """A vessel over its capacity is a slip of the pen or a spill: either is told before it is recorded."""
    vessel = getattr(place, "vessel", None)
    if vessel is None or not vessel.capacity_ml or not goes_in:
        return
    then = (volume_of(held).ml if held else 0) + half_even(goes_in[0] - sum(goes_in[1:]), 1000)
    if then > vessel.capacity_ml:
        raise OverCapacity(
            vessel=str(place),
            most=litres(vessel.capacity_ml),
            then=litres(then),
            onward=f" Let it overflow to {vessel.overflows_to} first, or" if vessel.overflows_to else " Take less, or",
        )
