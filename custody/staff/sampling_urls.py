"""Addresses of the sampler's desk. Lot numbers of old records may hold any sign, so they come last."""

from django.urls import path

from custody.staff.sampling import board, keep, melt

urlpatterns = [
    path("", board.board, name="sampling"),
    path("melt/", melt.melt, name="melt-on-receipt"),
    path("labels/<str:number>/", board.labels, name="made-labels"),
    path("seal/<path:number>/", keep.seal, name="sample-seal"),
    path("return/<path:number>/", keep.give_back, name="sample-return"),
]
