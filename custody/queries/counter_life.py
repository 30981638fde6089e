"""What happened at the counter around one receipt: what went back, was refused, and how it was bought."""

from custody.models import Delivery, Lot, Movement, Operation, Purchase, RefusedParcel
from custody.queries.settling import returned

#: So many lots are named on a receipt's page.
SHOWN = 20


def unmelted(receipt: Operation) -> list[Lot]:
    """Parcels of a receipt that are there as they came: nothing but samples was taken of them."""
    lots = Lot.objects.filter(created_by=receipt, gross_mg__gt=0).select_related("custodian", "place")
    return list(lots.order_by("id"))


def returns_of(receipt: Operation) -> list[Movement]:
    """Parcels that went back unmelted, each with the dispatch that it left with."""
    return list(returned(receipt).select_related("lot", "operation").order_by("id"))


def with_replaced(receipt: Operation) -> list[int]:
    """The ids of a receipt and of those that it replaces: what was attached and refused with them came with it."""
    found = [receipt.pk]
    while earlier := Delivery.objects.filter(operation=found[-1]).values_list("replaces", flat=True).first():
        found.append(earlier)
    return found


def refused_with(receipt: Operation) -> list[RefusedParcel]:
    """What was refused when this receipt, or one that it replaces, was made."""
    return list(RefusedParcel.objects.filter(receipt__in=with_replaced(receipt)).order_by("id"))


def purchase_of(receipt: Operation) -> Purchase | None:
    """The purchase by which a receipt was paid at the counter."""
    return Purchase.objects.filter(receipt=receipt).prefetch_related("lines__lot").first()


def holding_now(receipt: Operation) -> list[Lot]:
    """Lots made of this receipt's parcels alone that hold metal now, where a parcel is no more as it came."""
    if not Lot.objects.filter(created_by=receipt, gross_mg=0).exists():
        return []
    return list(Lot.objects.filter(receipt=receipt, gross_mg__gt=0).exclude(created_by=receipt).order_by("id")[:SHOWN])
