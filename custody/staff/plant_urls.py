"""Addresses of the plant: its board, its steps, its runs."""

from django.urls import path

from custody.staff.plant import board, cast, mend, runs, step

urlpatterns = [
    path("", board.board, name="plant"),
    path("lot-book/", board.lot_book, name="lot-book"),
    path("step/", step.kinds, name="steps"),
    path("step/<slug:slug>/", step.step, name="step"),
    path("batch/", step.batch, name="batch"),
    path("charge/", runs.charge, name="charge"),
    path("run/<str:number>/", runs.run, name="run"),
    path("run/<str:number>/draw/", runs.draw, name="draw"),
    path("run/<str:number>/finish/", runs.finish, name="finish"),
    path("cast/", cast.cast, name="cast"),
    path("divide/", mend.divide, name="divide"),
    path("correct/<path:number>/", mend.correct, name="correct"),
]
