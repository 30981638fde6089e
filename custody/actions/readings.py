"""A reading that a scale sent by itself is kept; a form picks it up afterwards."""

import hashlib
import json
from datetime import datetime
from uuid import UUID, uuid5

from django.db import IntegrityError, transaction
from django.utils import timezone

from custody.actions._allowed import require
from custody.calc.mass import HEAVIEST_MG
from custody.errors import Refusal, RequestKey, UnknownScale
from custody.models import Scale, ScaleReading, User
from custody.roles import Verb

#: A client's key means something to that client alone; two clients may choose the same one.
_KEYS = UUID("6f0a4a0e-0f0b-5a55-9c35-9a3b6f2f5a10")
_LONGEST_LINE = ScaleReading._meta.get_field("line").max_length


def keep_reading(
    *, scale: Scale, value_ug: int, stable: bool, line: str, read_at: datetime, by: User, key: str
) -> ScaleReading:
    """Keeps what a scale showed, micrograms, with the line that it sent; ``read_at`` is what the sender's clock said.

    The same ``key`` of the same person gives the reading that was kept; with other content it raises ``RequestKey``.
    Raises ``NotAllowed``, ``UnknownScale`` for a scale out of use, and ``Refusal``.
    """
    require(by, Verb.WEIGH)
    if not scale.active:
        raise UnknownScale(scale=scale.code)
    if abs(value_ug) > HEAVIEST_MG * 1000:
        raise Refusal("No scale of a refinery weighs more than 100 t.").at("value")
    if not line.isprintable() or len(line) > _LONGEST_LINE:
        raise Refusal(f"The line of the scale has at most {_LONGEST_LINE} printable characters.").at("line")
    said = [scale.code, value_ug, stable, line, read_at.isoformat()]
    sha256 = hashlib.sha256(json.dumps(said).encode()).digest()
    request_key = uuid5(_KEYS, f"{by.pk}:{key}")
    kept = _kept(request_key, sha256)
    if kept:
        return kept
    try:
        with transaction.atomic():
            return ScaleReading.objects.create(
                scale=scale,
                value_ug=value_ug,
                stable=stable,
                line=line,
                read_at=read_at,
                received_at=timezone.now(),
                by=by,
                request_key=request_key,
                request_sha256=sha256,
            )
    except IntegrityError:
        kept = _kept(request_key, sha256)  # the same request came twice at once
        if kept is None:
            raise
        return kept


def _kept(request_key: UUID, sha256: bytes) -> ScaleReading | None:
    kept = ScaleReading.objects.filter(request_key=request_key).first()
    if kept and bytes(kept.request_sha256) != sha256:
        raise RequestKey(operation=f"reading {kept.pk}")
    return kept
