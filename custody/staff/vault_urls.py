"""The vault desk: what is where, handovers, and the gate."""

from django.urls import path

from custody.staff.vault import gate, handover, shift, stock

urlpatterns = [
    path("", stock.vault, name="vault"),
    path("place/<path:code>/", stock.place, name="vault-place"),
    path("handover/", handover.hand_over_lots, name="handover"),
    path("takeover/<path:code>/", shift.shift, name="takeover"),
    path("passed/<uuid:key>/", handover.passed, name="passed"),
    path("gate/", gate.gate, name="gate"),
    path("dispatch/<path:number>/", gate.dispatched, name="dispatched"),
    path("dispatch-certificates/<path:number>/", gate.issue_missing, name="issue-certificates"),
    path("dispatch-note/<path:number>/", gate.issue_note, name="issue-note"),
    path("certificate/<path:number>/", gate.issue_one, name="issue-certificate"),
]
