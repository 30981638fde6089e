"""Addresses of the laboratory. Lot numbers of old records may hold any sign, so they come last."""

from django.urls import path

from custody.staff.laboratory import (
    accept,
    board,
    certificate,
    determine,
    indicate,
    proof_metals,
    proofs,
    results,
    sample,
    solutions,
    worksheet,
    worksheet_open,
)

urlpatterns = [
    path("", board.board, name="laboratory"),
    path("proofs/", proofs.proof_chart, name="proofs"),
    path("proof-metals/", proof_metals.register, name="proof-metals"),
    path("proof-metals/<int:pk>/", proof_metals.set_in_use, name="proof-metal-use"),
    path("worksheets/", worksheet_open.sheets, name="worksheets"),
    path("worksheets/open/", worksheet_open.open_sheet, name="worksheet-open"),
    path("worksheets/<str:number>/", worksheet.sheet, name="worksheet"),
    path("worksheets/<str:number>/results/", results.results, name="worksheet-results"),
    path("solutions/", solutions.solutions, name="solutions"),
    path("solution-assay/<str:number>/", solutions.solution_assay, name="solution-assay"),
    path("solution/<path:number>/", solutions.solution, name="solution"),
    path("indication/<path:number>/", indicate.indication, name="indication"),
    path("sample/<path:number>/", sample.draw, name="sample"),
    path("consume/<path:number>/", sample.consume, name="consume"),
    path("determine/<path:number>/", determine.determination, name="determine"),
    path("accept/<str:number>/", accept.acceptance, name="accept"),
    path("accept/<str:number>/certificate/", certificate.issue, name="assay-certificate"),
    path("accept/<str:number>/again/", accept.turn_down, name="assay-again"),
]
