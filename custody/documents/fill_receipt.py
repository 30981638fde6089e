"""The delivery receipt and the lot labels of one receipt, filled from the book."""

from custody.documents.labels import LabelSheet, LotLabel
from custody.documents.parts import House
from custody.documents.receipt import AmendedLine, ReceiptPaper, ReceiptParcel, RefusedLine
from custody.models import Movement, Operation, Parcel, Refinery, Weighing
from custody.queries.amendments import amended_receipt, as_amended, label_of, words
from custody.queries.counter_life import refused_with
from custody.queries.receipt_life import amendments_of, source_words
from custody.terms import Basis, Purpose, Side

BASIS_WORDS = {
    Basis.TOLL: "toll: the metal stays the property of the party until it is settled",
    Basis.PURCHASE: "purchase: the metal becomes the property of the refinery",
}


def house_of(refinery: Refinery) -> House:
    """The refinery as it stands at the head of every paper."""
    return House(refinery.name, refinery.mark, tuple(refinery.address.splitlines()), refinery.time_zone)


def receipt_paper(receipt: Operation, *, copy_no: int) -> ReceiptPaper:
    """What the customer takes away: the parcels as weighed when they came, as declared and amended."""
    amended_receipt(receipt)
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
        refused=tuple(_refused(receipt)),
        amendments=tuple(_amendments(receipt)),
        **_delivery(receipt),
    )


def _delivery(receipt: Operation) -> dict[str, str]:
    """For whom, which identity was seen (never its number), from which slip, instead of which receipt."""
    said = getattr(receipt, "delivery", None)
    if said is None:
        return {}
    return {
        "on_behalf_of": said.on_behalf_of,
        "identity": said.get_identity_kind_display() if said.identity_kind else "",
        "slip": said.slip.number if said.slip else "",
        "replaces": said.replaces.number if said.replaces else "",
    }


def _refused(receipt: Operation):
    for one in refused_with(receipt):
        yield RefusedLine(one.get_form_display(), one.description, one.gross_mg, one.reason)


def _amendments(receipt: Operation):
    for one in amendments_of(receipt):
        yield AmendedLine(
            lot=one.lot.number if one.lot else "",
            field=label_of(one.field),
            before=words(one.field, one.before),
            after=words(one.field, one.after),
            reason=one.reason,
            by=str(one.by),
            at=one.at,
            countersigned_by=str(one.countersigned_by or ""),
        )


def label_sheet(receipt: Operation, *, copy_no: int = 1) -> LabelSheet:
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
        copy_no,
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
    for parcel in as_amended(_parcels_of(receipt)):
        weighing = weighings.get(parcel.lot_id)
        net = received[parcel.lot_id]
        yield ReceiptParcel(
            lot=parcel.lot.number,
            form=parcel.lot.get_form_display(),
            pieces=parcel.pieces,
            category=parcel.category,
            country=parcel.country,
            source=source_words(parcel),
            export_paper=parcel.export_paper,
            transport_paper=parcel.transport_paper,
            declared_fineness=_fineness(parcel),
            declared_words=parcel.declared_words if parcel.declared_words.endswith("karat") else "",
            scale=weighing.scale.code if weighing else "not recorded",
            keyed=weighing.keyed if weighing else False,
            gross_mg=weighing.gross_mg if weighing else net,
            tare_mg=weighing.tare_mg if weighing else 0,
            net_mg=net,
            declared_mg=parcel.declared_gross_mg,
            description=parcel.description,
            seal=parcel.seal,
        )


def _fineness(parcel: Parcel) -> tuple[tuple[str, int], ...]:
    declared = (("Au", parcel.declared_au_ppm), ("Ag", parcel.declared_ag_ppm))
    return tuple((metal, ppm) for metal, ppm in declared if ppm is not None)
