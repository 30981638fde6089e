"""The register of scales and reference weights, the daily check, and a scale found faulty."""

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db import IntegrityError, transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.calc import scales as calc
from custody.calc.mass import format_grams
from custody.calc.weights import Weight
from custody.errors import Refusal
from custody.models import Place, ReferenceWeight, Scale, ScaleCheck, User
from custody.queries.scales import plate_of, weight_of
from custody.roles import Verb, may

_CODE = re.compile(r"[A-Z0-9][A-Z0-9-]{0,29}")


@dataclass(frozen=True, slots=True)
class Load:
    """One load of a check: the reference weights on the pan, and what the scale showed, micrograms."""

    weights: tuple[ReferenceWeight, ...]
    reading_ug: int


def enter_scale(*, code: str, name: str, place: Place, plate: calc.Scale, by: User | None) -> Scale:
    """Enters a scale by its plate, which then stays. ``by`` is empty only for the demo's first layout.

    The same scale entered twice is one. Raises ``NotAllowed`` and ``Refusal``.
    """
    if by is not None:
        require(by, Verb.KEEP_SCALES)
    code = _code(code)
    known = Scale.objects.filter(code=code).first()
    if known and (known.name, known.place_id, plate_of(known)) == (name, place.pk, plate):
        return known
    try:
        with transaction.atomic():
            return Scale.objects.create(
                code=code,
                name=name,
                place=place,
                accuracy=str(plate.accuracy),
                e_mg=plate.e_mg,
                d_ug=plate.step_ug,
                min_ug=plate.minimum_ug,
                max_mg=plate.max_mg,
                entered_by=by,
            )
    except IntegrityError as error:
        raise Refusal(f"There is a scale {code} already. Give this one another code.").at("code") from error


def set_scale_in_use(*, scale: Scale, active: bool, by: User) -> None:
    """Takes a scale out of use, or back. Raises ``NotAllowed``."""
    require(by, Verb.KEEP_SCALES)
    Scale.objects.filter(pk=scale.pk).update(active=active)


def enter_reference_weight(
    *, code: str, weight: Weight, by: User | None, certificate: str = "", valid_until: date | None = None
) -> ReferenceWeight:
    """Enters a reference weight with its class, and its certificate if it has one.

    The same weight entered twice is one. Raises ``NotAllowed`` and ``Refusal``.
    """
    if by is not None:
        require(by, Verb.KEEP_SCALES)
    code = _code(code)
    known = ReferenceWeight.objects.filter(code=code).first()
    if known and (weight_of(known), known.certificate, known.valid_until) == (weight, certificate, valid_until):
        return known
    try:
        with transaction.atomic():
            return ReferenceWeight.objects.create(
                code=code,
                nominal_mg=weight.nominal_mg,
                weight_class=str(weight.weight_class),
                deviation_ug=weight.deviation_ug,
                uncertainty_ug=weight.uncertainty_ug,
                certificate=certificate,
                valid_until=valid_until,
            )
    except IntegrityError as error:
        raise Refusal(f"There is a reference weight {code} already. Give this one another code.").at("code") from error


def set_reference_weight_in_use(*, weight: ReferenceWeight, active: bool, by: User) -> None:
    """Takes a reference weight out of use, or back. Raises ``NotAllowed``."""
    require(by, Verb.KEEP_SCALES)
    ReferenceWeight.objects.filter(pk=weight.pk).update(active=active)


def check_scale(
    *, scale: Scale, loads: Sequence[Load], at: datetime, by: User, note: str = "", request_key: UUID | None = None
) -> ScaleCheck:
    """Records a check of a scale against reference weights (OIML R 76-1); it passes when every load does.

    Raises ``NotAllowed`` and ``Refusal``; ``Refused`` for weights too coarse for the scale.
    """
    require(by, Verb.WEIGH)
    if not loads:
        raise Refusal("A check has at least one load.").at("loads")
    plate, day = plate_of(scale), _post.call("custody_local_day", at)
    for load in loads:
        _refuse_expired(load.weights, day)
        calc.daily_check(plate, [weight_of(one) for one in load.weights], load.reading_ug)
    return _record(scale, [_load(load) for load in loads], note, at, by, request_key)


def find_faulty(*, scale: Scale, reason: str, at: datetime, by: User, request_key: UUID | None = None) -> ScaleCheck:
    """Records that a scale was found faulty: from then on it may not be used until it passes a check again.

    Who weighs or who keeps the scales says so. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.KEEP_SCALES if may(by.roles, Verb.KEEP_SCALES) else Verb.WEIGH)
    if not reason.strip():
        raise Refusal("Say what is wrong with the scale.").at("reason")
    return _record(scale, [], reason, at, by, request_key)


def _code(code: str) -> str:
    code = code.strip().upper()
    if not _CODE.fullmatch(code):
        raise Refusal("A code is capitals, digits and hyphens, at most 30, like C-1: it is scanned from a label.").at(
            "code"
        )
    return code


def _load(load: Load) -> dict:
    weights = [weight_of(one) for one in load.weights]
    return {
        "weights": ", ".join(
            f"{one.code} ({format_grams(one.nominal_mg)} g {one.weight_class})" for one in load.weights
        ),
        "load_mg": sum(weight.nominal_mg for weight in weights),
        "reference_ug": sum(weight.value_ug for weight in weights),
        "reading_ug": load.reading_ug,
    }


def _record(
    scale: Scale, loads: list[dict], reason: str, at: datetime, by: User, request_key: UUID | None
) -> ScaleCheck:
    request = {
        "scale": scale.code,
        "loads": loads,
        "reason": reason.strip(),
        "at": at.isoformat(),
        "by": by.pk,
        "request_key": str(request_key) if request_key else None,
    }
    with _post.refusals(), transaction.atomic(durable=True):
        return ScaleCheck.objects.get(pk=_post.call("custody_check_scale", json.dumps(request)))


def _refuse_expired(weights: Sequence[ReferenceWeight], day: date) -> None:
    for one in weights:
        if not one.active or (one.valid_until and one.valid_until < day):
            raise Refusal(f"Reference weight {one.code} is out of use, or its certificate has run out.").at("loads")
