"""Prices of metals: entered by hand or read from a file, confirmed by a second person where they jump."""

import hashlib
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from custody.actions import _post
from custody.actions._allowed import require
from custody.calc.file_rows import FileRefused
from custody.calc.money import checked_amount
from custody.calc.price import DECIMALS
from custody.calc.price_table import Said, read_prices, said_price
from custody.calc.refusals import Refused
from custody.errors import PriceConfirm, PriceDay, PriceLimitAhead, PriceStands, Refusal, RequestKey
from custody.models import Price, PriceConfirmation, PriceImport, PriceLimit, User
from custody.queries import prices as queries
from custody.roles import Verb
from custody.terms import METALS, PPM


def enter_price(
    *,
    metal: str,
    currency: str,
    fixing: str,
    day: date,
    amount: Decimal,
    per: str,
    source: str,
    by: User,
    reason: str = "",
    request_key: UUID | None = None,
) -> Price:
    """Enters the price of a day, money per g or ozt; where one stands it is replaced, and ``reason`` says why.

    One that jumps past the limit is kept, ``doubtful``: nothing is settled at it until another person confirms it. The
    same form sent twice is one row. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.KEEP_PRICES)
    try:
        checked_amount(amount, "amount", decimals=DECIMALS)
        said = said_price(metal=metal, currency=currency, fixing=fixing, day=day, amount=amount, per=per, source=source)
    except Refused as refused:
        raise Refusal(refused.sentence).at(refused.field) from refused
    if day > timezone.localdate():
        raise PriceDay(day=str(day))
    with _post.refusals(), transaction.atomic(durable=True):
        _alone()
        earlier = Price.objects.filter(request_key=request_key).first() if request_key else None
        if earlier:
            if _words_of(earlier) != _words_of(said):
                raise RequestKey(operation=str(earlier))
            return earlier
        standing = queries.standing_price(said.series, day)
        if standing and not reason.strip():
            raise PriceStands(metal=metal, currency=said.currency, fixing=said.fixing, day=str(day))
        made = _row(said, standing, reason if standing else "", by, request_key=request_key)
        made.save(force_insert=True)
        made.refresh_from_db()
    return made


def import_prices(*, name: str, text: str, by: User, reason: str = "") -> PriceImport | None:
    """Reads a file of prices (calc/price_table.py), whole or not at all, and keeps it; its ``prices`` are what is new.

    None: all of it stands already, and nothing is recorded. Where other prices stand, ``reason`` says why they are
    replaced. Raises ``NotAllowed``, and ``FileRefused`` whose faults name their lines.
    """
    require(by, Verb.KEEP_PRICES)
    digest = hashlib.sha256(text.encode()).hexdigest()
    with _post.refusals(), transaction.atomic(durable=True):
        _alone()
        if PriceImport.objects.filter(sha256=digest).exists():
            return None
        plans = [plan for plan in queries.planned(read_prices(text, timezone.localdate())) if not plan.same]
        replaced = [plan.said.line for plan in plans if plan.standing]
        if replaced and not reason.strip():
            raise FileRefused(
                [
                    f"line {line}: another price stands for that day. Say why it is replaced."
                    for line in sorted(replaced)
                ]
            )
        if not plans:
            return None
        kept = PriceImport.objects.create(name=name[:200], sha256=digest, text=text, by=by)
        rows = [_row(plan.said, plan.standing, reason if plan.standing else "", by, imported=kept) for plan in plans]
        Price.objects.bulk_create(rows, batch_size=1000)
    return kept


def confirm_prices(*, prices: Sequence[Price], note: str, by: User) -> list[PriceConfirmation]:
    """Says of doubtful prices that they are right: another person than the one who entered each (I12).

    What was confirmed before is not confirmed again. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.CONFIRM_PRICES)
    if not prices:
        raise Refusal("Choose at least one price.").at("prices")
    if not note.strip():
        raise Refusal("Say how you know that they are right.").at("note")
    with _post.refusals(), transaction.atomic(durable=True):
        _alone()
        known = set(PriceConfirmation.objects.filter(price__in=prices).values_list("price", flat=True))
        waiting = [price for price in prices if price.pk not in known]
        if any(not price.doubtful for price in waiting):
            raise PriceConfirm()
        return [PriceConfirmation.objects.create(price=price, note=note.strip(), by=by) for price in waiting]


def set_price_limit(
    *, metal: str, valid_from: date, jump_ppm: int, by: User, note: str = "", request_key: UUID | None = None
) -> PriceLimit:
    """Sets how far a metal's price may jump without being doubtful, ppm of the one before it, for days from a date on.

    Prices entered before keep their judgement. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SET_PRICE_LIMIT)
    if metal not in METALS:
        raise Refusal(f"{metal} is no metal of account.").at("metal")
    if not 0 < jump_ppm <= PPM:
        raise Refusal("A limit lies above 0 and is at most 100 %.").at("jump_ppm")
    if valid_from < timezone.localdate():
        raise PriceLimitAhead()
    with _post.refusals(), transaction.atomic(durable=True):
        _alone()
        earlier = PriceLimit.objects.filter(request_key=request_key).first() if request_key else None
        return earlier or PriceLimit.objects.create(
            metal=metal,
            valid_from=valid_from,
            jump_ppm=jump_ppm,
            note=note.strip(),
            set_by=by,
            request_key=request_key,
        )


def _alone() -> None:
    """One person after the other changes the table: what a file was compared with must stand when it is recorded."""
    _post.alone("the table of prices")


def _row(said: Said, standing: Price | None, reason: str, by: User, **more) -> Price:
    return Price(
        metal=said.metal,
        currency=said.currency,
        fixing=said.fixing,
        day=said.day,
        amount=said.amount,
        per=said.per.value,
        source=said.source,
        replaces=standing,
        reason=reason.strip(),
        by=by,
        **more,
    )


def _words_of(price: Price | Said) -> tuple:
    return (
        price.metal, price.currency, price.fixing, price.day, price.amount, str(price.per), price.source,
    )  # fmt: skip
