"""Addresses of the plant: its board, its steps, its runs."""

from django.urls import path

from custody.staff.plant import board, cast, cells, clean_out, kinds, mend, orders, planner, runs, settings, step

urlpatterns = [
    path("", board.board, name="plant"),
    path("lot-book/", board.lot_book, name="lot-book"),
    path("step/", kinds.kinds, name="steps"),
    path("clean-out/", clean_out.clean_out, name="clean-out"),
    path("step/<slug:slug>/", step.step, name="step"),
    path("batch/", step.batch, name="batch"),
    path("charge/", runs.charge, name="charge"),
    path("run/<str:number>/", runs.run, name="run"),
    path("run/<str:number>/draw/", runs.draw, name="draw"),
    path("run/<str:number>/finish/", runs.finish, name="finish"),
    path("run/<str:number>/cell/", cells.cell, name="cell"),
    path("cells/", cells.cells, name="cells"),
    path("planner/", planner.plan, name="planner"),
    path("settings/", settings.plant_settings, name="plant-settings"),
    path("orders/", orders.orders, name="route-orders"),
    path("orders/new/", orders.order_new, name="route-order-new"),
    path("orders/<str:number>/", orders.order, name="route-order"),
    path("orders/<str:number>/sheet/", orders.issue_sheet, name="batch-sheet"),
    path("cast/", cast.cast, name="cast"),
    path("divide/", mend.divide, name="divide"),
    path("correct/<path:number>/", mend.correct, name="correct"),
]
