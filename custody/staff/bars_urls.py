"""Addresses of bars: their types, their serials, and the way from strip and blank to a stamped bar."""

from django.urls import path

from custody.staff.plant import bar_types, bar_work, bars, serials, stamp

urlpatterns = [
    path("", bars.bars, name="bars"),
    path("types/", bar_types.bar_types, name="bar-types"),
    path("types/usual/", bar_types.usual, name="bar-types-usual"),
    path("types/<int:pk>/use/", bar_types.use, name="bar-type-use"),
    path("serials/", serials.serials, name="serials"),
    path("serials/<int:pk>/", serials.register, name="serial-range"),
    path("serials/<int:pk>/csv/", serials.register_csv, name="serial-csv"),
    path("stamp/", stamp.stamp, name="stamp-bars"),
    path("<slug:slug>/", bar_work.work, name="bar-work"),
]
