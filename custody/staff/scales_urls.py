"""Addresses of the scales' desk."""

from django.urls import path

from custody.staff.scales import again, check, one, readings, register

urlpatterns = [
    path("", register.scales, name="scales"),
    path("add/", register.add_scale, name="scale-add"),
    path("reading/", readings.reading, name="scale-reading"),
    path("weights/", register.weights, name="reference-weights"),
    path("weights/add/", register.add_weight, name="reference-weight-add"),
    path("weights/weight/<str:code>/", register.weight, name="reference-weight"),
    path("weights/weight/<str:code>/use/", register.use_weight, name="reference-weight-use"),
    path("scale/<str:code>/", one.scale, name="scale"),
    path("scale/<str:code>/use/", register.use_scale, name="scale-use"),
    path("scale/<str:code>/check/", check.check, name="scale-check"),
    path("scale/<str:code>/faulty/", check.faulty, name="scale-faulty"),
    path("again/<path:number>/", again.again, name="weigh-again"),
    path("check/<int:pk>/", check.result, name="scale-check-result"),
    path("check/<int:pk>/weighings/", check.since, name="weighings-since"),
]
