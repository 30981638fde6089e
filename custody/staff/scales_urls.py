"""Addresses of the scales' desk."""

from django.urls import path

from custody.staff.scales import readings

urlpatterns = [
    path("reading/", readings.reading, name="scale-reading"),
]
