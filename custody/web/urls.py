"""Addresses that all doors share."""

from django.contrib.auth.views import LogoutView
from django.urls import path

from custody.web import views

urlpatterns = [
    path("sign-in/", views.SignIn.as_view(), name="login"),
    path("sign-out/", LogoutView.as_view(next_page="login"), name="logout"),
    path("find/", views.scan, name="scan"),
    path("papers/<int:pk>/", views.document, name="document"),
]
