"""The settlement desk: receipts to settle, statements, metal accounts."""

from django.urls import path

from custody.staff.settlement import accounts, price_entry, prices, settle, statements

urlpatterns = [
    path("", statements.settlements, name="settlements"),
    path("receipt/<path:number>/", settle.settle, name="settle"),
    path("correct/<path:number>/", settle.correct, name="settlement-correct"),
    path("statement/<path:number>/", statements.settlement, name="settlement"),
    path("paper/<path:number>/", statements.issue_paper, name="settlement-paper"),
    path("accounts/", accounts.accounts, name="metal-accounts"),
    path("account/<path:code>/", accounts.account, name="metal-account"),
    path("prices/", prices.price_list, name="prices"),
    path("prices/price/<int:pk>/", prices.one_price, name="price"),
    path("prices/enter/", price_entry.enter, name="price-enter"),
    path("prices/file/", price_entry.read_file, name="prices-import"),
    path("prices/doubtful/", price_entry.doubtful, name="prices-doubtful"),
    path("prices/limits/", price_entry.limits, name="price-limits"),
]
