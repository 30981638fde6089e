"""The purchase note, filled from the book."""

from custody.calc.purchase import formula
from custody.documents.fill_receipt import house_of
from custody.documents.purchase import BoughtParcel, PurchasePaper
from custody.models import Operation, Purchase, PurchaseLine, Refinery, Weighing
from custody.terms import IdentityKind, Payment, Purpose


def purchase_paper(receipt: Operation, *, copy_no: int) -> PurchasePaper:
    """What was bought and paid when a receipt was made: every figure is the stored one."""
    purchase = Purchase.objects.prefetch_related("lines__lot__parcel").get(receipt=receipt)
    party, said = receipt.party, receipt.delivery
    weighed = {
        one.lot_id: one
        for one in Weighing.objects.filter(operation=receipt, purpose=Purpose.RECEIPT).select_related("scale")
    }
    return PurchasePaper(
        house=house_of(Refinery.objects.get()),
        number=receipt.number,
        qr=receipt.number,
        at=receipt.at,
        party=party.name,
        party_code=party.code,
        party_address=tuple(party.address.splitlines()) or (party.country,),
        sold_by=receipt.delivered_by,
        on_behalf_of=said.on_behalf_of,
        identity=IdentityKind(said.identity_kind).label,
        bought_by=str(receipt.by),
        parcels=tuple(_parcel(line, purchase.currency, weighed[line.lot_id]) for line in purchase.lines.all()),
        currency=purchase.currency,
        total=purchase.total,
        payment=Payment(purchase.payment).label,
        reference=purchase.reference,
        price_source=purchase.price_source,
        copy_no=copy_no,
    )


def _parcel(line: PurchaseLine, currency: str, weighing: Weighing) -> BoughtParcel:
    parcel = line.lot.parcel
    return BoughtParcel(
        lot=line.lot.number,
        what=", ".join(filter(None, (line.lot.get_form_display(), parcel.description))),
        scale=weighing.scale.code,
        gross_mg=weighing.gross_mg,
        tare_mg=weighing.tare_mg,
        net_mg=line.net_mg,
        metal=line.metal,
        indicated_ppm=line.indicated_ppm,
        method=line.method,
        price_per_g=line.price_per_g,
        payable_ppm=line.payable_ppm,
        formula=formula(line.net_mg, line.indicated_ppm, line.price_per_g, line.payable_ppm, currency),
        amount=line.amount,
        seal=parcel.seal,
    )
