"""The delivery receipt and the lot labels of one receipt, filled from the book."""

from custody.documents.labels import LabelSheet, LotLabel
from custody.documents.parts import House
from custody.documents.receipt import ReceiptPaper, ReceiptParcel
from custody.models import Movement, Operation, Parcel, Refinery, Weighing
from custody.terms import Basis, Purpose, Side

BASIS_WORDS = {
    Basis.TOLL: "toll: the metal stays the property of the party until it is settled",
    Basis.PURCHASE: "purchase: the metal becomes the property of the refinery",
}


def house_of(refinery: Refinery) -> House:
    """The refinery as it stands at the head of every paper."""
    return House(refinery.name, refinery.mark, tuple(refinery.address.splitlines()), refinery.time_zone)


def receipt_paper(receipt: Operation, *, copy_no: int) -> ReceiptPaper:
    """What the customer takes away: the parcels as declared and as weighed when they came, not as they stand now."""
    refinery = Refinery.objects.get()
    first = (
        Movement.objects.filter(operation=receipt, side=Side.OUT)
        .select_related("custodian", "place")
        .order_by("line")
        .first()
    )
    party = receipt.party
    return ReceiptPaper(
        house=house_of(refinery),
        number=receipt.number,
        qr=receipt.number,
        received_at=receipt.at,
        party=party.name,
        party_code=party.code,
        party_address=tuple(party.address.splitlines()) or (party.country,),
        delivered_by=receipt.delivered_by,
        received_by=str(receipt.by),
        custodian=str(first.custodian),
        place=first.place.name if first.place else "",
        basis=BASIS_WORDS.get(receipt.basis, receipt.basis),
        parcels=tuple(_parcels(receipt)),
        terms=tuple(line for line in refinery.receipt_terms.splitlines() if line.strip()),
        copy_no=copy_no,
    )


def label_sheet(receipt: Operation) -> LabelSheet:
    """One label for each parcel of a receipt, with the net mass received."""
    received = _received_mg(receipt)
    return LabelSheet(
        house_of(Refinery.objects.get()),
        tuple(
            LotLabel(
                lot=parcel.lot.number,
                qr=parcel.lot.number,
                form=parcel.lot.get_form_display(),
                net_mg=received[parcel.lot_id],
                receipt=receipt.number,
                status=parcel.lot.clearance,
                owner_code=parcel.lot.owner.code if parcel.lot.owner else "",
            )
            for parcel in _parcels_of(receipt).select_related("lot__owner")
        ),
    )


def _parcels_of(receipt: Operation):
    return Parcel.objects.filter(lot__created_by=receipt).select_related("lot").order_by("line")


def _received_mg(receipt: Operation) -> dict[int, int]:
    movements = Movement.objects.filter(operation=receipt, side=Side.OUT, lot__isnull=False)
    return dict(movements.values_list("lot_id", "gross_mg"))


def _parcels(receipt: Operation):
    received = _received_mg(receipt)
    weighings = {
        weighing.lot_id: weighing
        for weighing in Weighing.objects.filter(lot__created_by=receipt, purpose=Purpose.RECEIPT)
        .select_related("scale")
        .order_by("-id")
    }
    for parcel in _parcels_of(receipt):
        weighing = weighings.get(parcel.lot_id)
        net = received[parcel.lot_id]
        yield ReceiptParcel(
            lot=parcel.lot.number,
            form=parcel.lot.get_form_display(),
            pieces=parcel.pieces,
            category=", ".join(filter(None, (parcel.category, parcel.mine))),
            country=parcel.country,
            declared_fineness=(("Au", parcel.declared_au_ppm),) if parcel.declared_au_ppm is not None else (),
            scale=weighing.scale.code if weighing else "not recorded",
            gross_mg=weighing.gross_mg if weighing else net,
            tare_mg=weighing.tare_mg if weighing else 0,
            net_mg=net,
            declared_mg=parcel.declared_gross_mg,
            description=parcel.description,
            seal=parcel.seal,
        )
