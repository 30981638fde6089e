"""Exchange of assays with a party: the terms, the two results, the umpire's, and the settled assay that comes of it."""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any
from uuid import UUID

import psycopg
from django.db import IntegrityError, connection, transaction
from psycopg.types.json import Jsonb

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._numbers import next_number
from custody.calc.exchange import excess_ppm, give_way
from custody.calc.fineness import format_per_mille
from custody.calc.refusals import Refused
from custody.errors import ExchangeRule, NotAllowed
from custody.models import Determination, Exchange, ExchangeTerms, Lot, Party, Refinery, User
from custody.queries import exchanges as queries
from custody.roles import Verb, may
from custody.terms import METALS, PPM, ExchangeSide, Method

#: Who may open an exchange and record what it came to; and who may enter a customer's letter.
KEEPS = (Verb.DETERMINE, Verb.SETTLE)
OPENS_LETTERS = (Verb.RECEIVE, Verb.SETTLE)


def agree_exchange(*, party: Party, by: User, valid_from: date, **agreed: Any) -> ExchangeTerms:
    """Records how assays are exchanged with a party from a date on (``ended``: no more); the same sent twice is one.

    ``agreed`` holds the other columns of ``ExchangeTerms``; limits in ppm. Earlier terms stay. Raises ``NotAllowed``
    and ``Refusal``.
    """
    require(by, Verb.SETTLE)
    with _post.refusals(), transaction.atomic(durable=True):
        _post.alone(f"exchange terms {party.pk}")
        latest = ExchangeTerms.objects.filter(party=party).order_by("-id")[:1]
        same = ExchangeTerms.objects.filter(pk__in=latest, valid_from=valid_from, agreed_by=by, **agreed).first()
        return same or ExchangeTerms.objects.create(party=party, valid_from=valid_from, agreed_by=by, **agreed)


def open_exchange(*, lot: Lot, at: datetime, by: User, request_key: UUID | None = None) -> Exchange:
    """Opens the exchange of a lot's assays by the terms in force on the day of its receipt; sent twice it is one.

    Raises ``NotAllowed``, and ``Refusal`` for a lot that has its metals, is exchanged already, or has no such terms.
    """
    _require_one(by, KEEPS)
    terms = queries.terms_due(lot)
    with _post.refusals(), transaction.atomic(durable=True):
        earlier = Exchange.objects.filter(lot=lot).first()
        if earlier is None and terms is None:
            raise ExchangeRule(
                f"The assays of lot {lot.number} are not exchanged: it has its metals, or no terms say so."
            )
        try:
            with transaction.atomic():
                return earlier or Exchange.objects.create(
                    number=next_number("X", "exchange", at),
                    lot=lot,
                    party=terms.party,
                    terms=terms,
                    at=at,
                    by=by,
                    request_key=request_key,
                )
        except IntegrityError:  # somebody else opened it this very moment
            return Exchange.objects.get(lot=lot)


def hand_in_determination(*, exchange: Exchange, determination: Determination, by: User) -> None:
    """Hands in one of the laboratory's determinations, as it is, as the refinery's result. It can't be changed.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.DETERMINE)
    house = Refinery.objects.first()
    four = dict(zip(METALS[:4], determination.ppm[:4], strict=True))
    _seal(
        exchange,
        ExchangeSide.REFINERY,
        four,
        house.name if house else "the refinery",
        determination.number,
        by,
        determination=determination.pk,
    )


def hand_in_own(*, exchange: Exchange, ppm: Mapping[str, int], laboratory: str, reference: str = "", by: User) -> None:
    """Hands in the customer's own result (ppm by metal), by a person of that party. It can't be changed.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.HAND_IN_OWN)
    if by.party_id != exchange.party_id:
        raise NotAllowed(f"{by} does not belong to {exchange.party}.")
    _seal(exchange, ExchangeSide.CUSTOMER, ppm, laboratory, reference, by)


def hand_in_letter(*, exchange: Exchange, ppm: Mapping[str, int], laboratory: str, reference: str, by: User) -> None:
    """Enters the customer's result (ppm by metal) from its letter, named by ``reference``. It can't be changed.

    Raises ``NotAllowed`` and ``Refusal``; never by who determined or handed in the refinery's.
    """
    _require_one(by, OPENS_LETTERS)
    if not reference.strip():
        raise ExchangeRule("Say by which letter the result came.").at("reference")
    _seal(exchange, ExchangeSide.CUSTOMER, ppm, laboratory, reference, by)


def hand_in_umpire(*, exchange: Exchange, ppm: Mapping[str, int], laboratory: str, reference: str, by: User) -> None:
    """Enters the umpire's result (ppm of the metals in dispute) from its report, named by ``reference``.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SETTLE)
    if not reference.strip():
        raise ExchangeRule("Say by which report the umpire answered.").at("reference")
    _seal(exchange, ExchangeSide.UMPIRE, ppm, laboratory, reference, by)


def record_settled(
    *, exchange: Exchange, at: datetime, by: User, gives_way: str = "", request_key: UUID | None = None
) -> Determination:
    """Records what the exchange came to as a determination of the lot, for another person to accept.

    Copper, and what else no exchange is about, is the refinery's; it gives way where the metals exchanged leave less
    room. Where these alone exceed the whole, the one that both parties agreed on ``gives_way``. Raises ``NotAllowed``
    and ``Refusal``; while the exchange is open its settled assay is one.
    """
    _require_one(by, KEEPS)
    with _post.refusals(), transaction.atomic(durable=True):
        _post.alone(f"settled assay {exchange.pk}")
        seen = queries.see([Exchange.objects.select_related("lot", "terms").get(pk=exchange.pk)])[0]
        said, words = _settled(seen, gives_way)
        earlier = seen.determinations[-1] if seen.determinations else None
        if earlier and request_key and earlier.request_key == request_key:
            return earlier
        if seen.pending or (earlier and seen.exchange.lot.valued):
            raise ExchangeRule(f"What exchange {exchange.number} came to is recorded already, as {earlier.number}.")
        return Determination.objects.create(
            number=next_number("A", "determination", at),
            lot=exchange.lot,
            exchange=exchange,
            method=Method.EXCHANGE,
            at=at,
            by=by,
            note=words,
            request_key=request_key,
            **{f"{metal.lower()}_ppm": ppm for metal, ppm in said.items()},
        )


def _settled(seen: queries.Seen, gives_way: str) -> tuple[dict[str, int], str]:
    """The settled fineness of every metal of account, ppm, and how it came about."""
    said = {line.exchanged.metal: line.settled_ppm for line in seen.lines}
    if not said or None in said.values():
        raise ExchangeRule(f"Exchange {seen.exchange.number} is not settled: {seen.state.label}.")
    words = [f"Exchange {seen.exchange.number} with {seen.exchange.party}."]
    words += [line.sentence for line in seen.lines if line.worth_saying]
    excess = excess_ppm(said)
    if excess:
        try:
            said = give_way(said, gives_way)
        except Refused as refused:
            raise ExchangeRule(refused.sentence).at(refused.field) from refused
        words.append(
            f"Together {format_per_mille(excess)} ‰ more than the whole: as agreed, {gives_way} gives way and counts as"
            f" {format_per_mille(said[gives_way])} ‰."
        )
    copper = min(seen.results[ExchangeSide.REFINERY].determination.cu_ppm, PPM - sum(said.values()))
    return said | {"Cu": copper}, "\n".join(words)


def _seal(
    exchange: Exchange, side: str, ppm: Mapping[str, int], laboratory: str, reference: str, by: User, **more: Any
) -> None:
    request = {
        "exchange": exchange.number,
        "side": str(side),
        "ppm": dict(ppm),
        "laboratory": laboratory.strip(),
        "reference": reference.strip(),
        "by": by.pk,
        **more,
    }
    # The figures are bound on the server and never part of the statement: what a session is doing can be read by every
    # other session of the same role, and a statement that was refused stands in the server's log.
    call = "SELECT custody_seal_result(%s) FROM set_config('lock_timeout', %s, true)"
    with _post.refusals(), transaction.atomic(durable=True), connection.wrap_database_errors:
        psycopg.Cursor(connection.connection).execute(call, [Jsonb(request), _post.LOCK_TIMEOUT])


def _require_one(by: User, verbs: tuple[Verb, ...]) -> None:
    """Raises ``NotAllowed`` unless the person may do at least one of these verbs."""
    require(by, next((verb for verb in verbs if may(by.roles, verb)), verbs[0]))
