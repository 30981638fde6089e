"""Settling a receipt: prepared by one, approved by another, issued once."""

import json
from datetime import date, datetime

from django.db import transaction
from django.utils import timezone

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.models import Operation, Settlement, User
from custody.queries.settling import Price, Reckoning, reckon
from custody.roles import Verb
from custody.terms import METALS, Outturn


def settle_receipt(
    *,
    receipt: Operation,
    outturn: Outturn,
    prices: dict[str, Price],
    day: date,
    approval: Signature,
    by: User,
    at: datetime | None = None,
    corrects: Settlement | None = None,
) -> tuple[Settlement, Reckoning]:
    """Issues the settlement of a receipt by the terms of ``day``; a correction names the statement that it replaces.

    The claims of the receipt become what is returned in metal; what is paid in money leaves the account, and title
    passes to the house. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SETTLE)
    require(approval.user, Verb.APPROVE)
    reckoned = reckon(receipt, outturn, prices, day)
    request = {
        "receipt": receipt.number,
        "outturn": str(outturn),
        "currency": reckoned.settled.currency,
        "charges": str(sum((line.amount for line in reckoned.settled.charges), 0)),
        "total": str(reckoned.settled.total),
        "corrects": corrects.number if corrects else None,
        "prepared_by": by.pk,
        "approved_by": approval.user.pk,
        "at": (at or timezone.now()).isoformat(),
        "lines": _lines(reckoned, prices),
    }
    with _post.refusals(), transaction.atomic(durable=True):
        issued = _post.call("custody_issue_settlement", json.dumps(request))
    return Settlement.objects.get(pk=issued), reckoned


def _lines(reckoned: Reckoning, prices: dict[str, Price]) -> list[dict]:
    accountability = dict(zip(METALS, reckoned.terms.payable_ppm, strict=True))
    values = {line.metal: line for line in reckoned.settled.values}
    lines = []
    for line in reckoned.settled.metals:
        value, price = values.get(line.metal), prices.get(line.metal)
        lines.append(
            {
                "metal": line.metal,
                "content_mg": line.content_mg,
                "payable_mg": line.payable_mg,
                "retained_mg": line.retained_mg,
                "returned_mg": line.returned_mg,
                "accountability_ppm": accountability[line.metal],
                "price": str(price.amount) if value and price else None,
                "price_unit": str(price.unit) if value and price else "",
                "price_source": price.source if value and price else "",
                "amount": str(value.amount) if value else "0",
                "formula": line.formula + (f"; {value.formula}" if value else ""),
            }
        )
    return lines
