"""The demo's papers, issued by the people whose work it is."""

from datetime import datetime

from custody.actions.issue_assay import issue_assay
from custody.actions.issue_certificate import issue_certificate
from custody.actions.issue_collection import issue_collection
from custody.actions.issue_dispatch_note import issue_dispatch_note
from custody.actions.issue_purchase import issue_purchase
from custody.actions.issue_receipt import issue_labels, issue_receipt
from custody.actions.issue_settlement import issue_settlement
from custody.actions.issue_trace import issue_trace
from custody.actions.slips import print_slips
from custody.management.demo.cast import House
from custody.models import Bar, Determination, Operation, Settlement
from custody.terms import Kind


def issue_all(house: House, now: datetime) -> None:
    """Receipts, labels, assays, notes, slips and statements, certificates of the bars that left, the trace of one."""
    for receipt in Operation.objects.filter(kind=Kind.RECEIVE).order_by("id"):
        issue_receipt(receipt=receipt, at=now, by=house.fern)
        issue_labels(receipt=receipt, at=now, by=house.fern)
    for bought in Operation.objects.filter(purchase__isnull=False).order_by("id"):
        issue_purchase(receipt=bought, at=now, by=house.fern)
    for one in Determination.objects.filter(acceptance__isnull=False).order_by("id"):
        issue_assay(determination=one, at=now, by=house.anouk)
    for dispatch in Operation.objects.filter(kind=Kind.DISPATCH).order_by("id"):
        issue_collection(dispatch=dispatch, at=now, by=house.vesna)
        issue_dispatch_note(dispatch=dispatch, at=now, by=house.vesna)
    print_slips(how_many=4, at=now, by=house.fern)
    for settlement in Settlement.objects.order_by("id"):
        issue_settlement(settlement=settlement, at=now, by=house.malik)
    left = Bar.objects.filter(cancelled_by__isnull=True, lot__gross_mg=0).select_related("lot").order_by("id")
    for bar in left:
        issue_certificate(lot=bar.lot, at=now, by=house.vesna, party=house.parties["P-03"])
    issue_trace(lot=left[0].lot, at=now, by=house.carys)
