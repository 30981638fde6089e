"""Solutions: their assays by volume, and the permit's limits for water."""

from collections.abc import Mapping
from datetime import date, datetime
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._numbers import next_number
from custody.actions._sign import Signature
from custody.actions._steps import lot_named
from custody.calc.solutions import Found, mass_mg, metal_mg
from custody.errors import Refusal
from custody.models import EffluentLimit, SolutionAssay, SolutionFigure, User
from custody.roles import Verb
from custody.terms import METALS, Form, Kind


def assay_solution(
    *,
    lot: str,
    volume_ml: int,
    density_mg_ml: int,
    figures: Mapping[str, Found],
    method: str,
    at: datetime,
    by: User,
    ph_centi: int | None = None,
    note: str = "",
    request_key: UUID | None = None,
) -> SolutionAssay:
    """Records the assay of a solution: millilitres, mg/mL, and micrograms a litre by chemical symbol.

    It changes no book until another person accepts it. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.DETERMINE)
    with _post.refusals(), transaction.atomic(durable=True):
        earlier = _post.sent_before(SolutionAssay, request_key)
        if earlier:
            return earlier
        held = lot_named(lot)
        if held.form not in (Form.SOLUTION, Form.IN_PROCESS) or not held.gross_mg:
            raise Refusal(f"Lot {lot} is no solution with anything in it.").at("lot")
        if not held.valued:
            raise Refusal(f"Lot {lot} is made of lots without an assay: value those first.").at("lot")
        if not figures:
            raise Refusal("Give at least one figure.").at("figures")
        unmeasured = [metal for metal, mg in zip(METALS, held.metals_mg, strict=True) if mg and metal not in figures]
        if unmeasured:
            held_too = " and ".join(unmeasured)
            raise Refusal(f"By the book the solution holds {held_too}: measure it, or give its limit of detection.").at(
                unmeasured[0]
            )
        if at > timezone.now():
            raise Refusal("An assay is of now or earlier.").at("at")
        if mass_mg(volume_ml, density_mg_ml) < sum(metal_mg(volume_ml, found.ug_l) for found in figures.values()):
            raise Refusal("By these figures the solution weighs less than what it holds. Check units and points.").at(
                "volume"
            )
        made = SolutionAssay.objects.create(
            number=next_number("TA", "solution", at),
            lot=held,
            at=at,
            by=by,
            method=method.strip(),
            volume_ml=volume_ml,
            density_mg_ml=density_mg_ml,
            ph_centi=ph_centi,
            note=note.strip(),
            request_key=request_key,
        )
        SolutionFigure.objects.bulk_create(
            SolutionFigure(assay=made, substance=substance, ug_l=found.ug_l, below=found.below)
            for substance, found in figures.items()
        )
    return made


def accept_solution(
    *,
    assay: SolutionAssay,
    at: datetime,
    by: User,
    reason: str = "",
    countersign: Signature | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Gives a solution its gross and metals by an assay that another person recorded; what changes is a difference.

    Past the tolerance of a valuation it needs a reason and a countersignature. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.ACCEPT)
    return _post.post(
        {
            "kind": str(Kind.VALUE),
            "at": at,
            "by": by.pk,
            "lot": assay.lot.number,
            "solution": assay.number,
            "reason": reason.strip() or None,
            "request_key": request_key,
            **(countersign.as_request() if countersign else {}),
        }
    )


def set_effluent_limits(
    *,
    valid_from: date,
    limits: Mapping[str, tuple[int | None, int]],
    note: str,
    at: datetime,
    by: User,
    request_key: UUID | None = None,
) -> list[EffluentLimit]:
    """Enters the permit's limits from a date on: least (or none) and most, µg/L by symbol, hundredths for ``pH``.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SET_PLANT)
    if valid_from < timezone.localdate(at):
        raise Refusal("Limits hold from today or a later day: water that left before was judged by its own.").at(
            "valid_from"
        )
    if not limits:
        raise Refusal("Give at least one limit.").at("limits")
    with _post.refusals(), transaction.atomic(durable=True):
        _post.alone("effluent limits")
        earlier = list(EffluentLimit.objects.filter(request_key=request_key)) if request_key else []
        if earlier:
            return earlier
        return [
            EffluentLimit.objects.create(
                valid_from=valid_from,
                substance=substance,
                least=least,
                most=most,
                note=note.strip(),
                set_by=by,
                set_at=at,
                request_key=request_key,
            )
            for substance, (least, most) in limits.items()
        ]
