"""One operation record that a program sends: the contract's record, in the name of a person."""

from typing import Any
from uuid import UUID, uuid5

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._record import request_of
from custody.actions._sign import Signature
from custody.errors import UnknownPlace
from custody.models import Place, User
from custody.roles import Verb, verb_of
from custody.terms import Kind, PlaceKind, Source

#: A program's key means something to its own person alone; two may choose the same one.
_KEYS = UUID("0e6a2c52-9d0f-5c7e-8f43-7d1f2a5b9c64")
#: Where parcels stand when nothing else is said, the first kind that the house has.
_TAKES_PARCELS = (PlaceKind.COUNTER, PlaceKind.STRONGROOM, PlaceKind.VAULT)


def record_operation(
    *, record: dict[str, Any], by: User, key: str, countersign: Signature | None = None, place: str = ""
) -> _post.Posted:
    """Records an operation as ``calc.history.read_operation`` gives it, masses in milligrams, in the custody of ``by``.

    ``place`` is where the parcels of a receipt stand; the first counter of the house unless it is said. The same
    ``key`` of the same person with the same record gives what was recorded; with another it raises ``RequestKey``.
    Raises ``NotAllowed`` and ``Refusal``.
    """
    kind = Kind(record["kind"])
    require(by, verb_of(kind))
    if countersign:
        require(countersign.user, Verb.COUNTERSIGN)
    return _post.post(
        request_of(record)
        | {
            "by": by.pk,
            "source": str(Source.API),
            "place": place or (_counter() if kind is Kind.RECEIVE else None),
            "request_key": uuid5(_KEYS, f"{by.pk}:{key}"),
            **(countersign.as_request() if countersign else {}),
        }
    )


def _counter() -> str:
    places = dict(
        Place.objects.filter(active=True, kind__in=_TAKES_PARCELS).order_by("-code").values_list("kind", "code")
    )
    for kind in _TAKES_PARCELS:
        if kind in places:
            return places[kind]
    raise UnknownPlace(place="where parcels are received")
