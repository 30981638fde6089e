"""Labels of the lots that an operation made, filled from the book as it is now."""

from custody.documents.fill_receipt import house_of
from custody.documents.labels import LabelSheet, LotLabel
from custody.models import Lot, Operation, Refinery


def made_sheet(operation: Operation, *, copy_no: int = 1) -> LabelSheet:
    """One label for each lot that an operation made and that still holds mass. Raises ``ValueError`` without any."""
    lots = Lot.objects.filter(created_by=operation, gross_mg__gt=0).select_related("owner", "receipt", "sample")
    return LabelSheet(
        house_of(Refinery.objects.get()),
        tuple(
            LotLabel(
                lot=lot.number,
                qr=lot.number,
                form=_form_of(lot),
                net_mg=lot.gross_mg,
                receipt=lot.receipt.number if lot.receipt else operation.number,
                status=lot.clearance,
                owner_code=lot.owner.code if lot.owner else "",
            )
            for lot in lots.order_by("id")
        ),
        copy_no,
    )


def _form_of(lot: Lot) -> str:
    """The form; of a sample how it was cut, whom it is for, and its seal."""
    sample = getattr(lot, "sample", None)
    if sample is None:
        return lot.get_form_display()
    seal = f"seal {sample.seal}" if 0 < len(sample.seal) <= 20 else ""  # a longer one would push the mass off
    return ", ".join(filter(None, (f"{sample.cut} sample", sample.purpose, seal)))
