"""The customer's door."""

from django.urls import path

from custody.portal import views

urlpatterns = [
    path("", views.deliveries, name="portal"),
    path("receipt/<path:number>/", views.delivery, name="portal-receipt"),
]
