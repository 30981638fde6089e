"""The house itself: its name and mark, its places, its parties, their terms, and the closing of a month."""

import json
from datetime import date
from zoneinfo import ZoneInfo, available_timezones

from django.db import IntegrityError, transaction
from django.db.models import F

from custody.actions import _post
from custody.actions._allowed import require
from custody.errors import Refusal
from custody.models import Party, Place, PlaceChange, Refinery, Terms, User
from custody.roles import Verb
from custody.terms import PlaceKind


def describe_refinery(
    *, name: str, address: str, mark: str, time_zone: str, receipt_terms: str, by: User | None
) -> Refinery:
    """Sets the house's name, mark and local time. ``by`` is empty only while there is no refinery yet.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    if by is not None:
        require(by, Verb.MANAGE_PEOPLE)
    elif Refinery.objects.exists():
        raise Refusal("Only a manager changes the refinery.")
    if time_zone not in available_timezones():
        raise Refusal(f"There is no time zone {time_zone}. Use a name like Europe/Oslo.")
    ZoneInfo(time_zone)
    refinery, _ = Refinery.objects.update_or_create(
        id=1,
        defaults={
            "name": name,
            "address": address,
            "mark": mark,
            "time_zone": time_zone,
            "receipt_terms": receipt_terms,
        },
    )
    return refinery


def add_place(*, code: str, name: str, kind: PlaceKind, by: User | None, two_person: bool = False) -> Place:
    """Adds a place where metal can be; ``two_person`` if two people open it. ``by`` is empty only for the first layout.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    if by is not None:
        require(by, Verb.MANAGE_PEOPLE)
    try:
        with transaction.atomic():
            return Place.objects.create(code=code, name=name, kind=str(kind), two_person=two_person)
    except IntegrityError as error:
        raise Refusal(f"There is a place {code} already.") from error


def change_place(*, place: Place, active: bool, two_person: bool, by: User) -> PlaceChange | None:
    """Sets a place out of use or into use, and says whether two people open it; None where it stands so already.

    Refused while it is open, and while lots stand at a place that is set out of use.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.MANAGE_PEOPLE)
    said = {"place": place.code, "active": active, "two_person": two_person, "by": by.pk}
    with _post.refusals(), transaction.atomic(durable=True):
        return PlaceChange.objects.filter(pk=_post.call("custody_change_place", json.dumps(said))).first()


def add_party(
    *, code: str, name: str, country: str, by: User, address: str = "", contact: str = "", note: str = ""
) -> Party:
    """Adds a party. Raises ``NotAllowed`` and ``Refusal``."""
    require(by, Verb.KEEP_PARTIES)
    try:
        with transaction.atomic():
            return Party.objects.create(
                code=code, name=name, country=country, address=address, contact=contact, note=note
            )
    except IntegrityError as error:
        raise Refusal(f"There is a party {code} already. Search for it, or take another code.") from error


def change_party(
    *, party: Party, version: int, name: str, country: str, address: str, contact: str, note: str, by: User
) -> None:
    """Changes a party that nobody else changed since ``version`` was read; the same change sent twice is one.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.KEEP_PARTIES)
    told = {"name": name, "country": country, "address": address, "contact": contact, "note": note}
    same = Party.objects.filter(pk=party.pk)
    changed = same.filter(version=version).update(version=F("version") + 1, **told)
    if not changed and not same.filter(version=version + 1, **told).exists():
        raise Refusal("Somebody else changed this party meanwhile. Look at it again, then change it.")


def agree_terms(*, party: Party, by: User, valid_from: date, **agreed) -> Terms:
    """Records the terms agreed with a party from a date on; earlier terms stay, the same terms sent twice are one.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.SETTLE)
    with _post.refusals(), transaction.atomic():
        _post.alone(f"terms {party.pk}")
        latest = Terms.objects.filter(party=party).order_by("-id")[:1]
        same = Terms.objects.filter(pk__in=latest, valid_from=valid_from, agreed_by=by, **agreed).first()
        return same or Terms.objects.create(party=party, valid_from=valid_from, agreed_by=by, **agreed)


def close_period(*, month: date, by: User) -> None:
    """Freezes a month that is over, for ever (I8). Raises ``NotAllowed`` and ``Refusal``."""
    require(by, Verb.CLOSE_PERIOD)
    with _post.refusals(), transaction.atomic(durable=True):
        _post.call("custody_close_period", month, by.pk)
