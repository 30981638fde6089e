"""Addresses of the desk: today, lots, receipts, operations, parties, book. Numbers may hold any sign but a space."""

from django.urls import path

from custody.staff.desk import attachments, book, lot, operation, parties, receipt, today

urlpatterns = [
    path("", today.today, name="today"),
    path("lot/<path:number>/", lot.lot, name="lot"),
    path("receipt/<path:number>/", receipt.receipt, name="receipt"),
    path("receipt-paper/<path:number>/", receipt.issue_paper, name="receipt-paper"),
    path("receipt-attach/<path:number>/", receipt.attach_files, name="receipt-attach"),
    path("attachment/<int:pk>/", attachments.attachment, name="attachment"),
    path("operation/<path:number>/", operation.operation, name="operation"),
    path("reverse/<path:number>/", operation.reverse, name="reverse"),
    path("parties/", parties.parties, name="parties"),
    path("parties/new/", parties.new, name="party-new"),
    path("party/<path:code>/", parties.party, name="party"),
    path("party-change/<path:code>/", parties.change, name="party-change"),
    path("party-terms/<path:code>/", parties.terms, name="party-terms"),
    path("book/", book.book, name="book"),
]
