"""Addresses of the balance."""

from django.urls import path

from custody.staff import balance_views as views

urlpatterns = [
    path("", views.show, name="balance"),
    path("close/", views.close, name="balance-close"),
]
