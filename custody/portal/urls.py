"""The customer's door."""

from django.urls import path

from custody.portal import exchange, views

urlpatterns = [
    path("", views.deliveries, name="portal"),
    path("receipt/<path:number>/", views.delivery, name="portal-receipt"),
    path("exchange/<str:number>/", exchange.exchange, name="portal-exchange"),
    path("exchange/<str:number>/result/", exchange.result, name="portal-result"),
]
