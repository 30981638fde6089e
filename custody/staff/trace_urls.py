"""Addresses of the trace desk."""

from django.urls import path

from custody.staff import fates
from custody.staff import trace_views as views

urlpatterns = [
    path("", views.start, name="trace-start"),
    path("fates/", fates.show, name="fates"),
    path("<path:number>/report/", views.report, name="trace-report"),
    path("<path:number>/<str:direction>/", views.show, name="trace"),
]
