"""What happened at the counter around one receipt: what went back, was refused, was bought, and what replaced it."""

from dataclasses import dataclass

from custody.models import Lot, Movement, Operation, Purchase, RefusedParcel
from custody.queries.settling import returned


@dataclass(frozen=True, slots=True)
class Replacing:
    """The receipt that one replaces, and the one that replaced it; empty where there is none."""

    replaces: str
    replaced_by: str


def unmelted(receipt: Operation) -> list[Lot]:
    """Parcels of a receipt that are there as they came: nothing but samples was taken of them."""
    lots = Lot.objects.filter(created_by=receipt, gross_mg__gt=0).select_related("custodian", "place")
    return list(lots.order_by("id"))


def returns_of(receipt: Operation) -> list[Movement]:
    """Parcels that went back unmelted, each with the dispatch that it left with."""
    return list(returned(receipt).select_related("lot", "operation").order_by("id"))


def refused_with(receipt: Operation) -> list[RefusedParcel]:
    """What was refused when this receipt was made."""
    return list(RefusedParcel.objects.filter(receipt=receipt).order_by("id"))


def purchase_of(receipt: Operation) -> Purchase | None:
    """The purchase by which a receipt was paid at the counter."""
    return Purchase.objects.filter(receipt=receipt).prefetch_related("lines__lot").first()


def replacing(receipt: Operation) -> Replacing:
    """Which receipt this one replaces, and which replaced it."""
    said = getattr(receipt, "delivery", None)
    replaces = said.replaces.number if said and said.replaces_id else ""
    after = Operation.objects.filter(delivery__replaces=receipt).first()
    return Replacing(replaces, after.number if after else "")
