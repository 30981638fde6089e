"""Bar types, the serials set aside for them, and what becomes of a serial that no bar bears."""

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.calc.bar_types import Making
from custody.errors import Refusal
from custody.models import BarType, SerialEvent, SerialRange, User
from custody.roles import Verb
from custody.terms import METALS, PPM, SerialFate

#: The most serials of one range: more is a slip of the keyboard.
LONGEST_RANGE = 1_000_000


def enter_bar_type(
    *,
    code: str,
    name: str,
    metal: str,
    nominal_mg: int | None,
    least_mg: int,
    most_mg: int,
    least_ppm: int,
    making: Making,
    by: User | None,
    marks: Sequence[str] = (),
) -> BarType:
    """Enters a bar type; masses in milligrams, the least fineness in ppm. ``by`` is empty only for the first layout.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    if by is not None:
        require(by, Verb.KEEP_BARS)
    if metal not in METALS:
        raise Refusal(f"{metal} is no metal of account.").at("metal")
    if nominal_mg is not None and least_mg != nominal_mg:
        raise Refusal("A bar of a nominal weight never weighs less than it.").at("least")
    if most_mg < least_mg or least_mg <= 0:
        raise Refusal("The most that it weighs is at least the least, and both are more than zero.").at("most")
    if not 0 < least_ppm <= PPM:
        raise Refusal("A fineness lies between 0 and 1000 per mille.").at("fineness")
    with transaction.atomic(durable=True):
        _post.alone("bar types")
        if BarType.objects.filter(code=code.strip()).exists():
            raise Refusal(f"There is a bar type {code} already. Take another code.").at("code")
        return BarType.objects.create(
            code=code.strip(),
            name=name.strip(),
            metal=metal,
            nominal_mg=nominal_mg,
            least_mg=least_mg,
            most_mg=most_mg,
            least_ppm=least_ppm,
            making=making,
            marks=[mark.strip() for mark in marks if mark.strip()],
            entered_by=by,
        )


def retire_bar_type(*, bar_type: BarType, active: bool, by: User) -> None:
    """Takes a type out of use, or into it again; what it weighs and holds never changes. Raises ``NotAllowed``."""
    require(by, Verb.KEEP_BARS)
    BarType.objects.filter(pk=bar_type.pk).update(active=active)


def set_aside_serials(
    *,
    mark: str,
    year: int,
    head: str,
    width: int,
    first: int,
    last: int,
    at: datetime,
    by: User,
    bar_type: BarType | None = None,
    request_key: UUID | None = None,
) -> SerialRange:
    """Sets aside the serials of a mark and year from ``first`` to ``last``, each ``head`` and ``width`` digits.

    Once a mark and year have a range, no bar is stamped outside their ranges. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.KEEP_BARS)
    earlier = SerialRange.objects.filter(request_key=request_key).first() if request_key else None
    if earlier:
        return earlier
    if not 0 <= first <= last < 10**width:
        raise Refusal(f"The first is not after the last, and both fit into {width} digits.").at("first")
    if last - first >= LONGEST_RANGE:
        raise Refusal(f"A range holds at most {LONGEST_RANGE} serials.").at("last")
    with _post.refusals(), transaction.atomic(durable=True):
        return SerialRange.objects.create(
            mark=mark.strip(),
            year=year,
            head=head.strip(),
            width=width,
            first=first,
            last=last,
            bar_type=bar_type,
            set_by=by,
            set_at=at,
            request_key=request_key,
        )


def tell_serials(
    *,
    mark: str,
    year: int,
    serials: Sequence[str],
    fate: SerialFate,
    reason: str,
    at: datetime,
    by: User,
    request_key: UUID | None = None,
) -> list[SerialEvent]:
    """Says of serials that they are reserved, freed or spoiled, all or none. A bar's serial has the bar's own end.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.CAST)
    if not serials:
        raise Refusal("Name at least one serial.").at("serials")
    with _post.refusals(), transaction.atomic(durable=True):
        earlier = list(SerialEvent.objects.filter(request_key=request_key)) if request_key else []
        if earlier:
            return earlier
        return [
            SerialEvent.objects.create(
                mark=mark,
                year=year,
                serial=serial,
                fate=fate,
                reason=reason.strip(),
                by=by,
                at=at,
                request_key=request_key,
            )
            for serial in sorted(set(serials))
        ]
