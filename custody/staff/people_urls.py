"""Addresses of the people desk."""

from django.urls import path

from custody.staff import people_views as views

urlpatterns = [
    path("", views.people, name="people"),
    path("add/", views.add, name="person-add"),
    path("login/<str:username>/", views.person, name="person"),
]
