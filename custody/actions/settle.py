"""Settling a receipt: prepared by one, approved by another, issued once."""

import json
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._sign import Signature
from custody.errors import ReasonNeeded
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
    reason: str = "",
    request_key: UUID | None = None,
) -> tuple[Settlement, Reckoning]:
    """Issues the settlement of a receipt by the terms of ``day``; a correction names what it replaces, and says why.

    The claims of the receipt become what is returned in metal; what is paid in money leaves the account, and title
    passes to the house. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SETTLE)
    require(approval.user, Verb.APPROVE)
    if corrects and not reason.strip():
        raise ReasonNeeded(f"A correction of {corrects.number} says why.")
    reckoned = reckon(receipt, outturn, prices, day)
    request = {
        "receipt": receipt.number,
        "outturn": str(outturn),
        "currency": reckoned.settled.currency,
        "charges": str(sum((line.amount for line in reckoned.settled.charges), Decimal("0.00"))),
        "charge_lines": [
            {"what": line.what, "formula": line.formula, "amount": str(line.amount)}
            for line in reckoned.settled.charges
        ],
        "total": str(reckoned.settled.total),
        "terms": reckoned.terms.pk,
        "corrects": corrects.number if corrects else None,
        "reason": reason.strip() if corrects else "",
        "note": _note(reckoned),
        "prepared_by": by.pk,
        "approved_by": approval.user.pk,
        "approval_meaning": approval.meaning,
        "request_key": str(request_key) if request_key else None,
        "at": (at or timezone.now()).isoformat(),
        "lines": _lines(reckoned, prices),
    }
    with _post.refusals(), transaction.atomic(durable=True):
        issued = _post.call("custody_issue_settlement", json.dumps(request))
    return Settlement.objects.get(pk=issued), reckoned


def _note(reckoned: Reckoning) -> str:
    if not reckoned.not_included:
        return ""
    return f"Not included, as not valued yet: {', '.join(reckoned.not_included)}. A correction follows their assay."


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
