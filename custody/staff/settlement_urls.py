"""The settlement desk: receipts to settle, statements, metal accounts."""

from django.urls import path

from custody.staff.settlement import accounts, settle, statements

urlpatterns = [
    path("", statements.settlements, name="settlements"),
    path("receipt/<path:number>/", settle.settle, name="settle"),
    path("correct/<path:number>/", settle.correct, name="settlement-correct"),
    path("statement/<path:number>/", statements.settlement, name="settlement"),
    path("paper/<path:number>/", statements.issue_paper, name="settlement-paper"),
    path("accounts/", accounts.accounts, name="metal-accounts"),
    path("account/<path:code>/", accounts.account, name="metal-account"),
]
