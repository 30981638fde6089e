"""Addresses of the exchange of assays, under the laboratory. Lot numbers of old records may hold any sign."""

from django.urls import path

from custody.staff.exchange import hand_in, lists, settle, terms

urlpatterns = [
    path("", lists.exchanges, name="exchanges"),
    path("terms/<path:code>/", terms.agree, name="exchange-terms"),
    path("open/<path:number>/", lists.open_one, name="exchange-open"),
    path("refinery/<str:number>/", hand_in.refinery, name="exchange-refinery"),
    path("letter/<str:number>/", hand_in.letter, name="exchange-letter"),
    path("umpire/<str:number>/", hand_in.umpire, name="exchange-umpire"),
    path("settle/<str:number>/", settle.settle, name="exchange-settle"),
    path("<str:number>/", settle.exchange, name="exchange"),
]
