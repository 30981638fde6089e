"""What is declared of a receipt now: what was first written, with what was amended of it since in its place.

Every reader of a parcel's declaration goes through ``as_amended``; what was first written stays in the book.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from uuid import UUID

from custody.calc.fineness import format_per_mille
from custody.calc.mass import format_grams
from custody.models import Amendment, Operation, Parcel


def _text(value: str) -> str:
    return value


@dataclass(frozen=True, slots=True)
class Amendable:
    """One thing that may be amended: how it is called, read from the text that is kept, and said."""

    field: str
    label: str
    read: Callable[[str], object] = _text
    say: Callable[[str], str] = _text


def _whole(text: str) -> int | None:
    return int(text) if text else None


def _as_grams(text: str) -> str:
    return f"{format_grams(int(text))} g" if text else ""


def _as_per_mille(text: str) -> str:
    return f"{format_per_mille(int(text))} ‰" if text else ""


#: Of a parcel. A change of the first three changes its origin.
OF_PARCEL = {
    one.field: one
    for one in (
        Amendable("category", "origin"),
        Amendable("country", "country"),
        Amendable("mine", "mine or collector"),
        Amendable("seal", "bag or seal"),
        Amendable("pieces", "pieces", _whole),
        Amendable("description", "description"),
        Amendable("declared_gross_mg", "declared weight", _whole, _as_grams),
        Amendable("declared_au_ppm", "declared Au", _whole, _as_per_mille),
        Amendable("declared_ag_ppm", "declared Ag", _whole, _as_per_mille),
        Amendable("declared_words", "declared in words"),
        Amendable("export_paper", "export paper"),
        Amendable("transport_paper", "transport paper"),
    )
}
ORIGIN = ("category", "country", "mine")
#: Of the delivery itself.
OF_DELIVERY = {
    one.field: one for one in (Amendable("delivered_by", "delivered by"), Amendable("on_behalf_of", "on behalf of"))
}


def label_of(field: str) -> str:
    """What a field is called."""
    found = OF_PARCEL.get(field) or OF_DELIVERY.get(field)
    return found.label if found else field


def words(field: str, text: str) -> str:
    """How a value that is kept reads on a page or a paper."""
    found = OF_PARCEL.get(field) or OF_DELIVERY.get(field)
    return (found.say(text) if found else text) or "nothing"


def as_amended(parcels: Iterable[Parcel]) -> list[Parcel]:
    """These parcels with everything amended in its place. In memory alone: the row stays as it was first written."""
    found = list(parcels)
    by_lot = {parcel.lot_id: parcel for parcel in found}
    for one in Amendment.objects.filter(lot__in=by_lot).order_by("id"):
        if one.field in OF_PARCEL:
            setattr(by_lot[one.lot_id], one.field, OF_PARCEL[one.field].read(one.after))
    return found


def origins_amended(*fields: str) -> list[tuple[str, str, str]]:
    """Parcels whose origin was amended: the lot's number, the field and what is right, in the order of amending."""
    found = Amendment.objects.filter(field__in=fields, lot__isnull=False).order_by("id")
    return list(found.values_list("lot__number", "field", "after"))


def amended_receipt(receipt: Operation) -> Operation:
    """The receipt with who delivered it, and for whom, as amended. In memory alone."""
    said = getattr(receipt, "delivery", None)
    for one in Amendment.objects.filter(receipt=receipt, lot=None).order_by("id"):
        if one.field == "delivered_by":
            receipt.delivered_by = one.after
        elif one.field == "on_behalf_of" and said:
            said.on_behalf_of = one.after
    return receipt


def recorded(receipt: Operation, request_key: UUID) -> bool:
    """Whether this very form was recorded already."""
    return Amendment.objects.filter(receipt=receipt, request_key=request_key).exists()


def kept(parcel: Parcel, field: str) -> str:
    """The value of a parcel's field as the text that an amendment keeps."""
    value = getattr(parcel, field)
    return "" if value is None else str(value)
