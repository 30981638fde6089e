"""Bar types, the serials set aside for them, and what becomes of a serial that no bar bears."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.calc.bar_types import USUAL, Making
from custody.errors import Refusal
from custody.models import BarType, SerialEvent, SerialRange, User
from custody.roles import Verb
from custody.terms import METALS, PPM, SerialFate

#: The most serials of one range: more is a slip of the keyboard.
LONGEST_RANGE = 1_000_000
LONGEST_SERIAL = 40


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
    if not code.strip() or not name.strip():
        raise Refusal("A type has a code and a name.").at("code")
    if metal not in METALS:
        raise Refusal(f"{metal} is no metal of account.").at("metal")
    if nominal_mg is not None and least_mg != nominal_mg:
        raise Refusal("A bar of a nominal weight never weighs less than it.").at("least")
    if most_mg < least_mg or least_mg <= 0:
        raise Refusal("The most that it weighs is at least the least, and both are more than zero.").at("most")
    if not 0 < least_ppm <= PPM:
        raise Refusal("A fineness lies between 0 and 1000 per mille.").at("fineness")
    said = {
        "code": code.strip(),
        "name": name.strip(),
        "metal": metal,
        "nominal_mg": nominal_mg,
        "least_mg": least_mg,
        "most_mg": most_mg,
        "least_ppm": least_ppm,
        "making": making,
        "marks": [mark.strip() for mark in marks if mark.strip()],
        "entered_by": by,
    }
    with transaction.atomic(durable=True):
        _post.alone("bar types")
        there = BarType.objects.filter(code=said["code"]).first()
        if there and all(getattr(there, name) == value for name, value in said.items()):
            return there  # the same form sent twice
        if there:
            raise Refusal(f"There is a bar type {there.code} already. Take another code.").at("code")
        return BarType.objects.create(**said)


def lay_usual_bar_types(*, by: User | None) -> list[BarType]:
    """Enters the usual types (calc/bar_types.USUAL) whose codes are not there; gives those. ``by`` is empty only for
    the first layout.

    Raises ``NotAllowed``.
    """
    if by is not None:
        require(by, Verb.KEEP_BARS)
    with transaction.atomic(durable=True):
        _post.alone("bar types")
        there = set(BarType.objects.values_list("code", flat=True))
        return [BarType.objects.create(**asdict(one), entered_by=by) for one in USUAL if one.code not in there]


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
    with _post.refusals(), transaction.atomic(durable=True):
        earlier = _post.sent_before(SerialRange, request_key)
        if earlier:
            return earlier
        if not mark.strip():
            raise Refusal("Name the mark: the refinery has none in its particulars yet.").at("mark")
        if head.strip() != head or len(head) + width > LONGEST_SERIAL:
            said = f"Letters and digits together are at most {LONGEST_SERIAL}, without spaces around."
            raise Refusal(said).at("head")
        if not 0 <= first <= last < 10**width:
            raise Refusal(f"The first is not after the last, and both fit into {width} digits.").at("first")
        if last - first >= LONGEST_RANGE:
            raise Refusal(f"A range holds at most {LONGEST_RANGE} serials.").at("last")
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
