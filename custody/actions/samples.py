"""Melt on receipt, and samples: drawing, sealing, consuming them, and giving back what is left of one."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction
from django.utils import timezone

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.actions._steps import Add, Lose, Make, Take, lot_named, record, split
from custody.actions._weighings import unexplained
from custody.actions.weigh import Weighed
from custody.errors import Future, NotCustodian, Overdraw, SampleRule
from custody.models import Edge, Exchange, Lot, Place, SampleSeal, User
from custody.queries import laboratory
from custody.roles import Verb
from custody.terms import METALS, Cause, Form, Kind, SamplePurpose


def melt_on_receipt(
    *,
    weighed: dict[str, Weighed],
    melt: Make,
    at: datetime,
    by: User,
    others: Sequence[Make] = (),
    dips: Sequence[Make] = (),
    additions: Sequence[Add] = (),
    losses: Sequence[Lose] = (),
    place: Place | None = None,
    reason: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> tuple[_post.Posted, ...]:
    """Melts parcels of one receipt, each weighed again before (``weighed``, by lot); ``others`` that came out are slag.

    The book's weight goes in. ``dips`` were taken from the liquid metal: they are no part of the melt's own weight, so
    the melt is booked with them, and they are drawn from it in the same transaction. Gives one or two operations.
    Raises ``NotAllowed``; ``HandoverDifference`` for a weight that the scales' errors do not explain, until it has a
    reason and a countersignature; ``Refusal``.
    """
    require(by, Verb.MELT)
    if dips:
        require(by, Verb.SAMPLE)
    for number in weighed:
        if lot_named(number).valued:
            raise _about(
                "inputs", f"Lot {number} has its assay: melt it at the plant, where metals balance.", lot=number
            )
    if not (reason.strip() and countersign) and (difference := unexplained(weighed)):
        raise difference
    dipped_mg = sum(dip.gross_mg for dip in dips)
    said = {"at": at, "by": by, "place": place, "countersign": countersign, "reason": reason}
    with _post.refusals(), transaction.atomic(durable=True):
        melted = record(
            kind=Kind.MELT,
            inputs=[Take(number) for number in weighed],
            outputs=[replace(melt, gross_mg=melt.gross_mg + dipped_mg), *others],
            additions=additions,
            losses=losses,
            weighed_in=weighed,
            request_key=request_key,
            **said,
        )
        if not dips:
            return (melted,)
        key = uuid5(request_key, "dips") if request_key else None
        drawn = record(
            kind=Kind.SAMPLE, inputs=[Take(melted.lots[0], dipped_mg)], outputs=dips, request_key=key, **said
        )
    return melted, drawn


def draw_samples(
    *,
    lot: str,
    samples: Sequence[Make],
    at: datetime,
    by: User,
    losses: Sequence[Lose] = (),
    place: Place | None = None,
    reason: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Draws samples from a lot by their gross; each takes its share of every metal, and so does what is lost.

    The rest stays under the lot's number. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SAMPLE)
    parts = split(lot_named(lot), samples, losses)
    with _post.refusals(), transaction.atomic(durable=True):
        return record(
            kind=Kind.SAMPLE,
            inputs=[parts.take],
            outputs=parts.outputs,
            losses=parts.losses,
            at=at,
            by=by,
            place=place,
            reason=reason,
            countersign=countersign,
            request_key=request_key,
        )


def consume_sample(
    *,
    sample: str,
    at: datetime,
    by: User,
    consumed_mg: int | None = None,
    left: Weighed | None = None,
    reason: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """The assay takes so many milligrams of a sample, or all but what is ``left`` on the scale, or all of it.

    Its mass and metals leave the book as a sample consumed. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SAMPLE)
    one = _sample(sample)
    if left is not None:
        if left.net_mg >= one.gross_mg:
            raise _about("gross", f"The book holds no more than that in {sample}: nothing of it was consumed.")
        if consumed_mg not in (None, one.gross_mg - left.net_mg):
            raise _about("consumed", "What was consumed and what is left are not the whole sample. Say one of them.")
        consumed_mg = one.gross_mg - left.net_mg
    parts = split(one, (), [Lose(Cause.SAMPLE, one.gross_mg if consumed_mg is None else consumed_mg)])
    with _post.refusals(), transaction.atomic(durable=True):
        return record(
            kind=Kind.SAMPLE,
            inputs=[parts.take],
            outputs=[],
            losses=parts.losses,
            weighed_in={sample: left} if left else None,
            at=at,
            by=by,
            reason=reason,
            countersign=countersign,
            request_key=request_key,
        )


def return_remainder(
    *,
    sample: str,
    at: datetime,
    by: User,
    reason: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Puts what is left of a sample back with its lot: both go in whole, one lot of the same form comes out.

    That lot has a number of its own, so the assays that name the old one are settled first: both are valued, and no
    determination or exchange of them waits. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SAMPLE)
    one = _sample(sample)
    lot = _drawn_from(one)
    _refuse_unless_settled(one, lot, by)
    columns = [a + b for a, b in zip(one.columns_mg, lot.columns_mg, strict=True)]
    with _post.refusals(), transaction.atomic(durable=True):
        return record(
            kind=Kind.SAMPLE,
            inputs=[Take(lot.number), Take(sample)],
            outputs=[Make(Form(lot.form), columns[0], dict(zip(METALS, columns[1:], strict=True)))],
            at=at,
            by=by,
            reason=reason,
            countersign=countersign,
            request_key=request_key,
        )


def seal_sample(
    *,
    sample: str,
    seal: str,
    purpose: SamplePurpose,
    at: datetime,
    by: User,
    note: str = "",
    request_key: UUID | None = None,
) -> SampleSeal:
    """Puts a new seal on a sample, and says what it is kept for from then on. Only who holds it does.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SAMPLE)
    with _post.refusals(), transaction.atomic(durable=True):
        one = _sample(sample)
        earlier = SampleSeal.objects.filter(request_key=request_key, request_key__isnull=False).first()
        if earlier:
            return earlier
        if one.custodian_id != by.pk:
            raise NotCustodian(lot=sample)
        if not seal.strip():
            raise _about("seal", "Seal is missing: write the number on it.")
        if at > timezone.now():
            raise Future()
        return SampleSeal.objects.create(
            lot=one,
            seal=seal.strip(),
            purpose=str(purpose),
            note=note.strip(),
            at=at,
            by=by,
            request_key=request_key,
        )


def _sample(number: str) -> Lot:
    """A sample with something left of it."""
    one = lot_named(number)
    if one.form != Form.SAMPLE:
        raise _about("sample", f"Lot {number} is no sample.")
    if not one.gross_mg:
        raise Overdraw(lot=number, book_mg=0)
    return one


def _drawn_from(sample: Lot) -> Lot:
    """The one lot that a sample was drawn from, if there is anything left to give it back to."""
    parents = [edge.parent for edge in Edge.objects.filter(child=sample).select_related("parent")]
    if len(parents) != 1:
        raise _about("sample", f"Sample {sample.number} was drawn from several lots: keep it, or melt it.")
    (lot,) = parents
    if not lot.gross_mg or lot.form in (Form.BAR, Form.IN_PROCESS):
        why = f"is a {lot.form} and stays as it is" if lot.gross_mg else "holds nothing any more"
        raise _about("sample", f"Lot {lot.number} {why}: keep sample {sample.number}, or melt it with another lot.")
    return lot


def _refuse_unless_settled(sample: Lot, lot: Lot, by: User) -> None:
    for one in (lot, sample):
        if not one.valued:
            raise _about(
                "sample",
                f"Lot {one.number} has no accepted assay yet. A sample goes back after it, or is kept: the lot that"
                " comes of it has another number than the one that the assay names.",
            )
    waits = laboratory.waiting(by).filter(lot__in=(lot, sample)).first()
    if waits:
        raise _about("sample", f"Determination {waits.number} waits for a second person: accept it first.")
    open_exchange = Exchange.objects.filter(lot=lot).exclude(determinations__acceptance__isnull=False).first()
    if open_exchange:
        raise _about("sample", f"The assays of lot {lot.number} are exchanged ({open_exchange}): keep the sample.")


def _about(field: str, sentence: str, **detail: str) -> SampleRule:
    return SampleRule(sentence, **detail).at(field)
