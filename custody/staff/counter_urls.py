"""Addresses of the counter."""

from django.urls import path

from custody.staff.counter import views

urlpatterns = [
    path("", views.counter, name="counter"),
    path("estimate/", views.estimates, name="counter-estimate"),
]
