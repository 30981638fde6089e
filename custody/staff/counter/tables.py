"""Lists of the counter: what is bought, refused parcels, paper slips, amendments."""

from decimal import Decimal

import django_tables2 as tables

from custody.templatetags.papers import amount
from custody.web.tables import BaseTable, FigureColumn


class MoneyColumn(FigureColumn):
    """An amount of money; the currency stands in the header."""

    show = staticmethod(amount)


class BoughtTable(BaseTable):
    """Parcels with what each comes to, and the formula that leads to it."""

    caption = "What it comes to"

    what = tables.Column(verbose_name="Parcel", orderable=False, footer="Total")
    indicated = tables.Column(orderable=False)
    formula = tables.Column(verbose_name="How it was reckoned", orderable=False)

    def __init__(self, lines, *, currency: str, **kwargs):
        total = sum((line.amount for line in lines), Decimal("0.00"))
        paid = MoneyColumn("Amount", unit=currency, orderable=False, footer=amount(total))
        super().__init__(lines, extra_columns=[("amount", paid)], **kwargs)
