"""The vault desk: what is where, handovers, and the gate."""

from django.urls import path

from custody.staff.vault import access, bar_list, boxes, count, gate, handover, places, shift, stock

urlpatterns = [
    path("", stock.vault, name="vault"),
    path("place/<path:code>/", stock.place, name="vault-place"),
    path("handover/", handover.hand_over_lots, name="handover"),
    path("takeover/<path:code>/", shift.shift, name="takeover"),
    path("passed/<uuid:key>/", handover.passed, name="passed"),
    path("open/<path:code>/", access.open_place, name="vault-open"),
    path("close/<path:number>/", access.close_place, name="vault-close"),
    path("accesses/<path:code>/", access.accesses, name="vault-accesses"),
    path("access/<path:number>/", access.access, name="vault-access"),
    path("count/<path:code>/", count.count, name="count"),
    path("count-look/<path:code>/", count.look, name="count-look"),
    path("counted/<path:number>/", count.counted, name="counted"),
    path("count-sheet/<path:number>/", count.sheet, name="count-sheet"),
    path("count-csv/<path:number>/", count.count_csv, name="count-csv"),
    path("places/", places.places, name="places"),
    path("places/<path:code>/", places.change, name="place-change"),
    path("boxes/", boxes.box_list, name="boxes"),
    path("boxes/pack/", boxes.pack, name="pack-box"),
    path("tally/", boxes.tally, name="tally"),
    path("box/<path:number>/", boxes.box, name="box"),
    path("box-open/<path:number>/", boxes.open_one, name="open-box"),
    path("box-list/<path:number>/", boxes.issue_list, name="issue-box-list"),
    path("bars/", bar_list.bars, name="bar-list"),
    path("bars/issue/", bar_list.issue, name="issue-bar-list"),
    path("gate/", gate.gate, name="gate"),
    path("dispatch/<path:number>/", gate.dispatched, name="dispatched"),
    path("dispatch-certificates/<path:number>/", gate.issue_missing, name="issue-certificates"),
    path("dispatch-note/<path:number>/", gate.issue_note, name="issue-note"),
    path("dispatch-goods/<path:number>/", gate.issue_travelling, name="issue-dispatch-note"),
    path("certificate/<path:number>/", gate.issue_one, name="issue-certificate"),
]
