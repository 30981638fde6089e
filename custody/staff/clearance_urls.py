"""Addresses of the clearance desk."""

from django.urls import path

from custody.staff.clearance import views

urlpatterns = [path("", views.clearance, name="clearance")]
