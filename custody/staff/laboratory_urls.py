"""Addresses of the laboratory. Lot numbers of old records may hold any sign, so they come last."""

from django.urls import path

from custody.staff.laboratory import accept, board, determine, indicate, proofs, sample

urlpatterns = [
    path("", board.board, name="laboratory"),
    path("proofs/", proofs.proof_chart, name="proofs"),
    path("indication/<path:number>/", indicate.indication, name="indication"),
    path("sample/<path:number>/", sample.draw, name="sample"),
    path("consume/<path:number>/", sample.consume, name="consume"),
    path("determine/<path:number>/", determine.determination, name="determine"),
    path("accept/<str:number>/", accept.acceptance, name="accept"),
]
