"""Receiving metal over the counter."""

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._weighings import keep_weighings
from custody.actions.house import add_party
from custody.actions.weigh import Weighed
from custody.errors import Refusal
from custody.models import Operation, Party, Place, User
from custody.roles import Verb
from custody.terms import Basis, Category, CustodyModel, Form, IdentityKind, Method, Payment, Purpose


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
    declared_ag_ppm: int | None = None
    declared_words: str = ""
    export_paper: str = ""
    transport_paper: str = ""
    gross_reading: int | None = None
    tare_reading: int | None = None
    custody_model: CustodyModel = CustodyModel.MASS_BALANCE
    returned_from: str = ""

    @property
    def net_mg(self) -> int:
        """Milligrams on the scale without the container."""
        return self.gross_mg - self.tare_mg

    @property
    def weighed(self) -> Weighed:
        """The weighing of the parcel."""
        return Weighed(self.scale, self.gross_mg, self.tare_mg, self.gross_reading, self.tare_reading)


@dataclass(frozen=True, slots=True)
class NewParty:
    """A party that comes for the first time: entered with its first receipt, or not at all."""

    code: str
    name: str
    country: str


@dataclass(frozen=True, slots=True)
class Said:
    """What a receipt says of the delivery itself: for whom, which identity was seen, which paper slip it was on."""

    on_behalf_of: str = ""
    identity_kind: IdentityKind | None = None
    identity_number: str = ""
    slip: str = ""
    replaces: str = ""

    def as_request(self) -> dict:
        """The entry ``delivery``; empty where nothing was said."""
        said = {
            "on_behalf_of": self.on_behalf_of.strip(),
            "identity_kind": str(self.identity_kind or ""),
            "identity_number": self.identity_number.strip(),
            "slip": self.slip,
            "replaces": self.replaces,
        }
        return {key: value for key, value in said.items() if value}


@dataclass(frozen=True, slots=True)
class Bought:
    """The price of one parcel bought at the counter: money for a fine gram, and the share of it that is paid, ppm."""

    metal: str
    indicated_ppm: int
    method: Method
    price_per_g: Decimal
    payable_ppm: int
    amount: Decimal


@dataclass(frozen=True, slots=True)
class SpotPurchase:
    """Metal bought and paid at once: one line a parcel, in the order of the parcels."""

    currency: str
    payment: Payment
    price_source: str
    lines: tuple[Bought, ...]
    reference: str = ""

    def as_request(self) -> dict:
        """The entry ``purchase``."""
        return {
            "currency": self.currency,
            "payment": str(self.payment),
            "price_source": self.price_source,
            "reference": self.reference,
            "total": str(sum((line.amount for line in self.lines), Decimal("0.00"))),
            "lines": [
                {
                    "metal": line.metal,
                    "indicated_ppm": line.indicated_ppm,
                    "method": str(line.method),
                    "price_per_g": str(line.price_per_g),
                    "payable_ppm": line.payable_ppm,
                    "amount": str(line.amount),
                }
                for line in self.lines
            ],
        }


def receive(
    *,
    party: Party | NewParty,
    parcels: list[ParcelEntry],
    basis: Basis,
    delivered_by: str,
    at: datetime,
    place: Place,
    by: User,
    said: Said | None = None,
    purchase: SpotPurchase | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """Records a receipt: every parcel becomes an unvalued lot, awaiting release, in the receiver's custody.

    A new party is entered in the same transaction. Raises ``NotAllowed`` and ``Refusal``.
    """
    with _post.refusals(), transaction.atomic(durable=True):
        return receive_in_transaction(
            party=party,
            parcels=parcels,
            basis=basis,
            delivered_by=delivered_by,
            at=at,
            place=place,
            by=by,
            said=said,
            purchase=purchase,
            request_key=request_key,
        )


def receive_in_transaction(
    *,
    party: Party | NewParty,
    parcels: list[ParcelEntry],
    basis: Basis,
    delivered_by: str,
    at: datetime,
    place: Place,
    by: User,
    said: Said | None = None,
    purchase: SpotPurchase | None = None,
    request_key: UUID | None = None,
) -> _post.Posted:
    """As ``receive``, inside a transaction that another action has open. Raises ``NotAllowed`` and ``Refusal``."""
    require(by, Verb.RECEIVE)
    if not parcels:
        raise Refusal("A receipt has at least one parcel.")
    for number, parcel in enumerate(parcels, start=1):
        if parcel.net_mg <= 0:
            raise Refusal(f"Parcel {number}: the tare is not less than the gross. Weigh both again.")
    delivery = said.as_request() if said else {}
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
            "delivery": delivery or None,
            "purchase": purchase.as_request() if purchase else None,
            "outputs": [_output(parcel) for parcel in parcels],
        }
    )
    if not posted.replayed:
        weighed = {lot: parcel.weighed for lot, parcel in zip(posted.lots, parcels, strict=True)}
        keep_weighings(weighed, purpose=Purpose.RECEIPT, at=at, by=by, operation=posted.id)
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
        "declared_ag_ppm": parcel.declared_ag_ppm,
        "declared_words": parcel.declared_words,
        "export_paper": parcel.export_paper,
        "transport_paper": parcel.transport_paper,
        "custody_model": str(parcel.custody_model),
    }
    if not parcel.mine:
        del entry["origin"]["mine"]
    if parcel.returned_from:
        entry["returned_from"] = parcel.returned_from
    return entry
