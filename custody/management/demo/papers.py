"""The demo's papers, issued by the people whose work it is."""

from datetime import datetime

from custody.actions.issue_certificate import issue_certificate
from custody.actions.issue_receipt import issue_labels, issue_receipt
from custody.actions.issue_settlement import issue_settlement
from custody.actions.issue_trace import issue_trace
from custody.management.demo.cast import House
from custody.models import Bar, Operation, Settlement
from custody.terms import Kind


def issue_all(house: House, now: datetime) -> None:
    """Receipts and labels, statements, certificates of the bars that left, and the trace of the first of them."""
    for receipt in Operation.objects.filter(kind=Kind.RECEIVE).order_by("id"):
        issue_receipt(receipt=receipt, at=now, by=house.fern)
        issue_labels(receipt=receipt, at=now, by=house.fern)
    for settlement in Settlement.objects.order_by("id"):
        issue_settlement(settlement=settlement, at=now, by=house.malik)
    left = Bar.objects.filter(cancelled_by__isnull=True, lot__gross_mg=0).select_related("lot").order_by("id")
    for bar in left:
        issue_certificate(lot=bar.lot, at=now, by=house.vesna, party=house.parties["P-03"])
    issue_trace(lot=left[0].lot, at=now, by=house.carys)
