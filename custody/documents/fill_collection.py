"""The notes that metal leaves with, filled from the book: what left, to whom, and who fetched it."""

from custody.calc.balance import total
from custody.documents.collection import LeavingLot, LeavingPaper, ReturnedLot
from custody.documents.fill_receipt import house_of
from custody.models import Movement, Operation, Parcel, Refinery, Weighing
from custody.queries.amendments import as_amended
from custody.queries.boxes import closed_boxes_of
from custody.terms import METALS, Against, IdentityKind, Purpose, Side


def collection_paper(dispatch: Operation, *, copy_no: int) -> LeavingPaper:
    """What left with a dispatch, piece by piece as the collector counts it: sealed boxes, loose bars, lots."""
    lots, lines = [], _lines(dispatch)
    boxed = closed_boxes_of([line.lot for line in lines])
    for box in {box.pk: box for box in boxed.values()}.values():
        inside = [line for line in lines if boxed.get(line.lot_id) == box]
        sums = zip(METALS, total(line.columns_mg for line in inside)[1:], strict=True)
        metals = tuple((metal, mg) for metal, mg in sums if mg)
        what = f"sealed box, {len(inside)} bar{'s' if len(inside) > 1 else ''}, seal {box.seal}"
        lots.append(LeavingLot(box.number, what, sum(line.gross_mg for line in inside), metals))
    for line in (line for line in lines if line.lot_id not in boxed):
        bar = getattr(line.lot, "bar", None)
        metals = tuple((metal, mg) for metal, mg in zip(METALS, line.metals_mg, strict=True) if mg)
        what = f"bar {bar}" if bar else line.lot.get_form_display()
        lots.append(LeavingLot(line.lot.number, what, line.gross_mg, metals if line.valued else ()))
    return _paper(dispatch, tuple(lots), copy_no)


def return_paper(dispatch: Operation, *, copy_no: int) -> LeavingPaper:
    """Parcels that went back unmelted: as declared, as received, by the book and as weighed when they left."""
    lines = _lines(dispatch)
    parcels = {parcel.lot_id: parcel for parcel in as_amended(Parcel.objects.filter(lot__movements__in=lines))}
    received = dict(
        Movement.objects.filter(operation__in=[line.lot.created_by_id for line in lines], side=Side.OUT).values_list(
            "lot_id", "gross_mg"
        )
    )
    weighed = {
        one.lot_id: one
        for one in Weighing.objects.filter(operation=dispatch, purpose=Purpose.RETURN).select_related("scale")
    }
    lots = tuple(
        ReturnedLot(
            lot=line.lot.number,
            what=", ".join(filter(None, (line.lot.get_form_display(), parcels[line.lot_id].description))),
            received_mg=received[line.lot_id],
            book_mg=line.gross_mg,
            weighed_mg=weighed[line.lot_id].net_mg,
            difference_mg=weighed[line.lot_id].net_mg - line.gross_mg,
            declared_mg=parcels[line.lot_id].declared_gross_mg,
            scale=weighed[line.lot_id].scale.code,
            seal=parcels[line.lot_id].seal,
        )
        for line in lines
    )
    receipt = lines[0].lot.created_by.number
    return _paper(dispatch, lots, copy_no, receipt)


def _lines(dispatch: Operation) -> list[Movement]:
    lines = dispatch.movements.filter(side=Side.IN).select_related("lot__bar", "lot__created_by").order_by("line")
    return list(lines)


def head_of(dispatch: Operation, copy_no: int) -> dict:
    """What stands at the head of every paper of a dispatch: whose, which, to whom, by which order."""
    collection, party, signer = dispatch.collection, dispatch.party, dispatch.countersigned_by
    return {
        "house": house_of(Refinery.objects.get()),
        "number": dispatch.number,
        "qr": dispatch.number,
        "at": dispatch.at,
        "party": party.name,
        "party_code": party.code,
        "party_address": tuple(party.address.splitlines()) or (party.country,),
        "order": collection.order,
        "collector": collection.collector,
        "reason": dispatch.reason,
        "explained": f"{dispatch.countersign_meaning}, {signer}" if signer else "",
        "copy_no": copy_no,
    }


def _paper(dispatch: Operation, lots: tuple, copy_no: int, receipt: str = "") -> LeavingPaper:
    return LeavingPaper(
        **head_of(dispatch, copy_no),
        right=Against(dispatch.collection.against).label,
        identity=IdentityKind(dispatch.collection.identity_kind).label,
        handed_out_by=str(dispatch.by),
        lots=lots,
        receipt=receipt,
    )
