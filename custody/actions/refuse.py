"""Metal that was brought and not taken in: kept in a register, never in the book."""

from datetime import datetime
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from custody.actions._allowed import require
from custody.actions.weigh import Weighed
from custody.calc.scales import check_load
from custody.errors import Future, Refusal, ScaleFailed, ScaleUnchecked, UnknownScale
from custody.models import Operation, Party, Place, RefusedParcel, Scale, User
from custody.queries.scales import plate_of, standing
from custody.roles import Verb
from custody.terms import Form, IdentityKind, Kind


def refuse_parcel(
    *,
    brought_by: str,
    form: Form,
    reason: str,
    place: Place,
    at: datetime,
    by: User,
    description: str = "",
    identity_kind: IdentityKind | None = None,
    identity_number: str = "",
    weighed: Weighed | None = None,
    receipt: Operation | None = None,
    party: Party | None = None,
    request_key: UUID | None = None,
) -> RefusedParcel:
    """Keeps who brought what, and why it went back to that person at once. It was in nobody's custody here.

    The same form sent twice is kept once. Raises ``NotAllowed``, ``Refusal``, and ``Refused`` for a load that the scale
    does not weigh.
    """
    require(by, Verb.RECEIVE)
    if not reason.strip() or not brought_by.strip():
        raise Refusal("A refusal names who brought the metal, and says why it was not taken in.")
    if at > timezone.now():
        raise Future()
    if receipt and receipt.kind != Kind.RECEIVE:
        raise Refusal(f"{receipt.number} is no receipt.")
    earlier = RefusedParcel.objects.filter(request_key=request_key).first() if request_key else None
    if earlier:
        return earlier
    try:
        with transaction.atomic():
            return RefusedParcel.objects.create(
                receipt=receipt,
                party=party or (receipt.party if receipt else None),
                brought_by=brought_by.strip(),
                identity_kind=str(identity_kind or ""),
                identity_number=identity_number.strip(),
                form=str(form),
                description=description.strip(),
                scale=_scale(weighed, at) if weighed else None,
                gross_mg=weighed.gross_mg if weighed else None,
                reason=reason.strip(),
                place=place,
                at=at,
                by=by,
                request_key=request_key,
            )
    except IntegrityError:  # the same form, sent twice at once
        return RefusedParcel.objects.get(request_key=request_key)


def _scale(weighed: Weighed, at: datetime) -> Scale:
    """The scale, if it was checked that day: what was refused is weighed no worse than what is taken in."""
    scale = standing(at).filter(code=weighed.scale, active=True).first()
    if scale is None:
        raise UnknownScale(scale=weighed.scale)
    if scale.passed is None:
        raise ScaleUnchecked(scale=scale.code)
    if not scale.passed:
        raise ScaleFailed(scale=scale.code)
    check_load(plate_of(scale), weighed.gross_mg)
    return scale
