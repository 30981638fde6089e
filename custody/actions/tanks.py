"""Vessels and tanks: how much each holds at most, and into which one it overflows."""

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.errors import Refusal
from custody.models import Place, User, Vessel
from custody.roles import Verb
from custody.terms import PlaceKind


def set_vessel(*, place: Place, capacity_ml: int | None, overflows_to: Place | None, by: User) -> Vessel:
    """Says what a vessel holds at most (millilitres) and where it overflows to; the last word counts.

    Raises ``NotAllowed``, and ``Refusal`` for what is no vessel and for tanks that would overflow in a circle.
    """
    require(by, Verb.SET_PLANT)
    if place.kind != PlaceKind.VESSEL:
        raise Refusal(f"{place} is no vessel.").at("place")
    if capacity_ml is not None and capacity_ml <= 0:
        raise Refusal("A vessel holds something: give its litres, or leave them blank.").at("capacity")
    with _post.refusals(), transaction.atomic(durable=True):
        _post.alone("vessels")
        following, seen = overflows_to, {place.pk}
        while following is not None:
            if following.kind != PlaceKind.VESSEL or not following.active:
                raise Refusal(f"{following} is no vessel in use.").at("overflows_to")
            if following.pk in seen:
                raise Refusal(f"{overflows_to} would overflow back into {place}: liquor does not run in a circle.").at(
                    "overflows_to"
                )
            seen.add(following.pk)
            following = _next_of(following)
        told = {"capacity_ml": capacity_ml, "overflows_to": overflows_to}
        return Vessel.objects.update_or_create(place=place, defaults=told)[0]


def _next_of(place: Place) -> Place | None:
    vessel = Vessel.objects.filter(place=place).select_related("overflows_to").first()
    return vessel.overflows_to if vessel else None
