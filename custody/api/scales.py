"""Scales, and what they send by themselves."""

from typing import Literal

from django.http import HttpRequest
from django.utils import timezone
from ninja import Router, Schema, Status
from pydantic import ConfigDict, Field

from custody.actions.readings import keep_reading
from custody.api.answers import IdempotencyKey, ReadingKept, ScaleShown, refusals
from custody.api.problems import Unanswerable
from custody.api.reading import only
from custody.api.record_schema import MOMENT
from custody.calc.history import read_moment
from custody.calc.scale_reading import parse_reading
from custody.errors import NotAllowed
from custody.models import ScaleReading, User
from custody.queries import scales
from custody.roles import Verb, may

router = Router(tags=["Scales"])


class WeighingRecord(Schema):
    """One reading of a scale, as it showed it."""

    model_config = ConfigDict(extra="forbid", strict=True)

    scale: str = Field(
        min_length=1, max_length=30, pattern=r"^[^\x00]*$", description="Code of the scale in the register."
    )
    reading: str = Field(
        description="What it showed: a plain decimal number, to the microgram at most.",
        json_schema_extra={"pattern": r"^-?[0-9]{1,8}(\.[0-9]{1,3})?$"},
        examples=["1234.567"],
    )
    unit: Literal["g", "mg", "kg"]
    stable: bool = Field(description="Whether the scale said that it was at rest. Only such readings fill a form.")
    read_at: str = Field(
        description="When, by the sender's clock, with its offset from UTC.",
        json_schema_extra={"pattern": MOMENT},
        examples=["2024-01-02T09:00:00+00:00"],
    )
    line: str = Field("", max_length=120, description="The line as the scale sent it.")


def _require(person: User, *verbs: Verb) -> None:
    if not any(may(person.roles, verb) for verb in verbs):
        raise NotAllowed(f"{person} may not {verbs[0]}. Ask a manager for the role.")


@router.get(
    "/scales", operation_id="listScales", summary="Scales in use", response={200: list[ScaleShown], **refusals(403)}
)
def list_scales(request: HttpRequest):
    """The scales in use, and where each stands today."""
    _require(request.auth, Verb.WEIGH, Verb.READ_BOOK)
    return [
        {"code": one.code, "name": one.name, "accuracy": one.accuracy, "state": scales.state_of(one)}
        for one in scales.in_use()
    ]


@router.post(
    "/weighings",
    operation_id="keepReading",
    summary="Keep what a scale sent",
    response={201: ReadingKept, 200: ReadingKept, **refusals(400, 403, 404, 409, 413, 415, 422)},
)
def weigh(request: HttpRequest, weighing: WeighingRecord, idempotency_key: IdempotencyKey):
    """Keeps one reading. It is no weighing of a lot yet: a form at the counter picks it up and says of which lot.

    The token's person needs a role that weighs.
    """
    only(request)
    _require(request.auth, Verb.WEIGH)
    value_ug = parse_reading(weighing.reading, unit=weighing.unit)
    read_at = read_moment(weighing.model_dump(), "read_at")
    scale = scales.in_use().filter(code=weighing.scale).first()
    if scale is None:
        raise Unanswerable("not_found", f"There is no scale {weighing.scale} in use.", field="scale")
    asked = timezone.now()
    kept = keep_reading(
        scale=scale,
        value_ug=value_ug,
        stable=weighing.stable,
        line=weighing.line,
        read_at=read_at,
        by=request.auth,
        key=idempotency_key,
    )
    replayed = kept.received_at < asked
    return Status(200 if replayed else 201, _answer(kept, replayed))


def _answer(kept: ScaleReading, replayed: bool) -> dict:
    sign, (whole, part) = "-" if kept.value_ug < 0 else "", divmod(abs(kept.value_ug), 1_000_000)
    return {
        "id": kept.pk,
        "scale": kept.scale.code,
        "value_g": f"{sign}{whole}.{part:06d}",
        "stable": kept.stable,
        "read_at": kept.read_at,
        "replayed": replayed,
    }
