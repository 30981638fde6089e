"""Addresses of the trace desk."""

from django.urls import path

from custody.staff import trace_views as views

urlpatterns = [
    path("", views.start, name="trace-start"),
    path("<str:number>/report/", views.report, name="trace-report"),
    path("<str:number>/<str:direction>/", views.show, name="trace"),
]
