"""Addresses of the counter."""

from django.urls import path

from custody.staff.counter import amend, purchase, refuse, replace, returns, slips, views

urlpatterns = [
    path("", views.counter, name="counter"),
    path("estimate/", views.estimates, name="counter-estimate"),
    path("amend/<path:number>/", amend.correct_declared, name="amend"),
    path("buy/", purchase.buy, name="buy"),
    path("purchase-note/<path:number>/", purchase.issue_note, name="purchase-note"),
    path("refuse/", refuse.refuse, name="refuse"),
    path("refused/", refuse.register, name="refusals"),
    path("refused/<int:number>/", refuse.refused, name="refused"),
    path("replace/<path:number>/", replace.replace, name="replace"),
    path("return/<path:number>/", returns.give_parcels_back, name="return-parcels"),
    path("slips/", slips.slips, name="slips"),
    path("slips/<path:number>/", slips.slip, name="slip"),
]
