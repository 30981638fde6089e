"""Receiving metal over the counter."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions.house import add_party
from custody.errors import Refusal
from custody.models import Lot, Operation, Party, Place, User, Weighing
from custody.roles import Verb
from custody.terms import Basis, Category, CustodyModel, Form


@dataclass(frozen=True, slots=True)
class ParcelEntry:
    """One parcel as weighed and declared at the counter; masses in milligrams, fineness in ppm."""

    form: Form
    scale: str
    gross_mg: int
    tare_mg: int
    category: Category
    country: str
    mine: str = ""
    pieces: int | None = None
    description: str = ""
    seal: str = ""
    declared_gross_mg: int | None = None
    declared_au_ppm: int | None = None
    custody_model: CustodyModel = CustodyModel.MASS_BALANCE
    returned_from: str = ""

    @property
    def net_mg(self) -> int:
        """Milligrams on the scale without the container."""
        return self.gross_mg - self.tare_mg


@dataclass(frozen=True, slots=True)
class NewParty:
    """A party that comes for the first time: entered with its first receipt, or not at all."""

    code: str
    name: str
    country: str


def receive(
    *,
    party: Party | NewParty,
    parcels: list[ParcelEntry],
    basis: Basis,
    delivered_by: str,
    at: datetime,
    place: Place,
    by: User,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Records a receipt: every parcel becomes an unvalued lot, awaiting release, in the receiver's custody.

    A new party is entered in the same transaction. Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.RECEIVE)
    if not parcels:
        raise Refusal("A receipt has at least one parcel.")
    for number, parcel in enumerate(parcels, start=1):
        if parcel.net_mg <= 0:
            raise Refusal(f"Parcel {number}: the tare is not less than the gross. Weigh both again.")
    with _post.refusals(), transaction.atomic(durable=True):
        if isinstance(party, NewParty):
            party = _enter(party, request_key, by)
        posted = _post.post_in_transaction(
            {
                "kind": "receive",
                "at": at,
                "by": by.pk,
                "party": party.code,
                "basis": str(basis),
                "delivered_by": delivered_by,
                "place": place.code,
                "request_key": request_key,
                "outputs": [_output(parcel) for parcel in parcels],
            }
        )
        if not posted.replayed:
            _keep_weighings(posted, parcels, at, by)
    return posted


def _enter(new: NewParty, request_key: UUID | None, by: User) -> Party:
    """Enters the party; a form sent twice finds the one that it entered the first time."""
    try:
        return add_party(code=new.code, name=new.name, country=new.country, by=by)
    except Refusal:
        earlier = Operation.objects.filter(request_key=request_key).first() if request_key else None
        if earlier is None or earlier.party is None or earlier.party.code != new.code:
            raise
        return earlier.party


def _output(parcel: ParcelEntry) -> dict:
    entry = {
        "form": str(parcel.form),
        "gross_mg": parcel.net_mg,
        "origin": {"category": str(parcel.category), "country": parcel.country, "mine": parcel.mine},
        "pieces": parcel.pieces,
        "description": parcel.description,
        "seal": parcel.seal,
        "declared_gross_mg": parcel.declared_gross_mg,
        "declared_au_ppm": parcel.declared_au_ppm,
        "custody_model": str(parcel.custody_model),
    }
    if not parcel.mine:
        del entry["origin"]["mine"]
    if parcel.returned_from:
        entry["returned_from"] = parcel.returned_from
    return entry


def _keep_weighings(posted: _post.Posted, parcels: list[ParcelEntry], at: datetime, by: User) -> None:
    ids = dict(Lot.objects.filter(number__in=posted.lots).values_list("number", "id"))
    Weighing.objects.bulk_create(
        Weighing(
            lot_id=ids[number],
            scale=parcel.scale,
            gross_mg=parcel.gross_mg,
            tare_mg=parcel.tare_mg,
            net_mg=parcel.net_mg,
            purpose="receipt",
            at=at,
            by=by,
        )
        for number, parcel in zip(posted.lots, parcels, strict=True)
    )
