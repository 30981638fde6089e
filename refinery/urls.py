"""Three doors: staff, portal, and what both share."""

from django.urls import include, path

urlpatterns = [
    path("", include("custody.web.urls")),
    path("", include("custody.staff.urls")),
    path("my/", include("custody.portal.urls")),
]
