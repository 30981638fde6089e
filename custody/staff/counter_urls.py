"""Addresses of the counter."""

from django.urls import path

from custody.staff.counter import purchase, returns, views

urlpatterns = [
    path("", views.counter, name="counter"),
    path("estimate/", views.estimates, name="counter-estimate"),
    path("buy/", purchase.buy, name="buy"),
    path("purchase-note/<path:number>/", purchase.issue_note, name="purchase-note"),
    path("return/<path:number>/", returns.give_parcels_back, name="return-parcels"),
]
