"""The sheet of a count, filled from what was recorded then."""

from datetime import datetime

from custody.documents.count import CountedLot, CountedStray, CountSheet
from custody.documents.fill_receipt import house_of
from custody.documents.parts import Signature
from custody.models import Refinery, StockCount, StockCountLine, StockCountStray


def count_sheet(count: StockCount, *, copy_no: int, at: datetime) -> CountSheet:
    """The count on paper; a reprint says which copy it is."""
    lines = list(count.lines.select_related("lot__bar", "custodian"))
    missing = tuple(_lot(line) for line in lines if not line.found)
    found = tuple(_lot(line) for line in lines if line.found)
    return CountSheet(
        house=house_of(Refinery.objects.get()),
        number=count.number if copy_no == 1 else f"{count.number}, copy {copy_no}",
        qr=count.number,
        place=str(count.place),
        counted_at=count.at,
        missing=missing,
        strays=tuple(_stray(one) for one in count.strays.select_related("lot", "place", "custodian")),
        found=found,
        missing_mg=sum(one.gross_mg for one in missing),
        found_mg=sum(one.gross_mg for one in found),
        note=count.note,
        signatures=(
            Signature("Counted, and recorded", str(count.by), count.at),
            Signature("Counted together, signed by login", str(count.second), count.at),
        ),
        issued_at=at,
    )


def _lot(line: StockCountLine) -> CountedLot:
    bar = getattr(line.lot, "bar", None)
    return CountedLot(
        line.lot.number, line.lot.get_form_display(), str(bar or ""), str(line.custodian), line.book_mg, line.note
    )


def _stray(one: StockCountStray) -> CountedStray:
    return CountedStray(
        one.code, one.lot.number if one.lot else "unknown", str(one.place or ""), str(one.custodian or ""), one.note
    )
