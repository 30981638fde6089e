"""The vault desk: what is where, handovers, and the gate."""

from django.urls import path

from custody.staff.vault import gate, handover, stock

urlpatterns = [
    path("", stock.vault, name="vault"),
    path("place/<path:code>/", stock.place, name="vault-place"),
    path("handover/", handover.hand_over_lots, name="handover"),
    path("takeover/<path:code>/", handover.take_over, name="takeover"),
    path("gate/", gate.gate, name="gate"),
    path("dispatch/<path:number>/", gate.dispatched, name="dispatched"),
    path("dispatch-certificates/<path:number>/", gate.issue_missing, name="issue-certificates"),
    path("certificate/<path:number>/", gate.issue_one, name="issue-certificate"),
]
