"""Addresses of the people desk."""

from django.urls import path

from custody.staff import people_tokens as tokens
from custody.staff import people_views as views

urlpatterns = [
    path("", views.people, name="people"),
    path("add/", views.add, name="person-add"),
    path("login/<str:username>/", views.person, name="person"),
    path("login/<str:username>/tokens/", tokens.token_add, name="person-token-add"),
    path("login/<str:username>/tokens/<int:pk>/revoke/", tokens.token_revoke, name="person-token-revoke"),
]
