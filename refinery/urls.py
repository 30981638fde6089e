"""Three doors: staff, portal and programs (api), and what all share."""

from django.urls import include, path

urlpatterns = [
    path("", include("custody.web.urls")),
    path("api/", include("custody.api.urls")),
    path("", include("custody.staff.urls")),
    path("my/", include("custody.portal.urls")),
]
