"""Lists of the settlement desk."""

from collections.abc import Iterable
from decimal import Decimal

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse

from custody.calc.mass import format_grams
from custody.calc.money import format_money
from custody.terms import METALS
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn, StatusColumn


class MoneyColumn(FigureColumn):
    """An amount of money, as it was settled; its currency stands in a column beside it."""

    show = staticmethod(format_money)


class SignedMassColumn(MassColumn):
    """A change in milligrams: what is added says so with its sign."""

    def render(self, value):
        return f"+{format_grams(value)}" if value > 0 else super().render(value)


class OpenTable(BaseTable):
    """Receipts that wait for their settlement."""

    caption = "To be settled"
    empty_text = "Every receipt is settled."

    number = LotColumn(accessor="receipt__number", viewname="settle", verbose_name="Receipt", orderable=False)
    at = MomentColumn(accessor="receipt__at", verbose_name="Received", orderable=False)
    party = tables.Column(accessor="receipt__party__name", verbose_name="From", orderable=False)
    gross = MassColumn("Gross", accessor="gross_mg", orderable=False)
    au = MassColumn("Au", accessor="au_mg", orderable=False)
    standing = StatusColumn(tones={"ready": "good", "waits": "wait"}, verbose_name="Standing", orderable=False)
    missing = tables.Column(verbose_name="Still missing", orderable=False)


class IssuedTable(BaseTable):
    """Statements."""

    caption = "Settlements"
    empty_text = "No settlement is issued yet."

    number = LotColumn(viewname="settlement", verbose_name="Settlement", orderable=False)
    issued_at = MomentColumn(verbose_name="Issued", orderable=False)
    receipt = LotColumn(accessor="receipt__number", viewname="receipt", verbose_name="Receipt", orderable=False)
    party = tables.Column(accessor="party__name", verbose_name="For", orderable=False)
    outturn = tables.Column(accessor="get_outturn_display", verbose_name="In", orderable=False)
    total = MoneyColumn("Total", orderable=False)
    currency = tables.Column(verbose_name="Currency", orderable=False)
    standing = StatusColumn(accessor="pk", verbose_name="Standing", orderable=False)

    def render_standing(self, record):
        word, tone = ("stands", "good")
        if hasattr(record, "corrected_by"):
            word, tone = (f"corrected by {record.corrected_by.number}", "plain")
        elif not record.papers:
            word, tone = ("paper missing", "wait")
        return render_to_string("ui/status.html", {"word": word, "tone": tone})


class MetalTable(BaseTable):
    """The metals of a settlement, reckoned or issued."""

    caption = "Metal"

    metal = tables.Column(orderable=False)
    content = MassColumn("Content", accessor="content_mg", orderable=False)
    payable = MassColumn("Payable", accessor="payable_mg", orderable=False)
    returned = MassColumn("Returned", accessor="returned_mg", orderable=False)
    retained = MassColumn("Retained", accessor="retained_mg", orderable=False)
    formula = tables.Column(verbose_name="How it is reckoned", orderable=False)


class ValueTable(BaseTable):
    """Every line of value and charge with the formula that gives it, and their total."""

    caption = "Value and charges"
    empty_text = "Nothing is paid or charged in money."

    what = tables.Column(verbose_name="Line", orderable=False, footer="Total")
    formula = tables.Column(verbose_name="How it is reckoned", orderable=False)
    amount = MoneyColumn("Amount", orderable=False, footer=lambda table: format_money(_total(table.data)))
    currency = tables.Column(
        accessor="what", verbose_name="Currency", orderable=False, footer=lambda table: table.in_currency
    )

    def __init__(self, data, *, currency: str, **kwargs):
        super().__init__(data, **kwargs)
        self.in_currency = currency

    def render_currency(self):
        return self.in_currency


class ClaimsTable(BaseTable):
    """What the house owes in metal, party by party."""

    caption = "Metal accounts"
    empty_text = "The house owes nobody any metal."

    party = LotColumn(
        accessor="party__code", viewname="metal-account", argument="code", verbose_name="Party", orderable=False
    )
    name = tables.Column(accessor="party__name", verbose_name="Name", orderable=False)


class CoverTable(BaseTable):
    """Whether the house holds what it owes."""

    caption = "Metal by metal"
    empty_text = "There is no metal in the house, and none is owed."

    metal = tables.Column(orderable=False)
    held = MassColumn("House and pooled", accessor="held_mg", orderable=False)
    owed = MassColumn("Owed", accessor="owed_mg", orderable=False)
    over = SignedMassColumn("Over", accessor="over_mg", orderable=False)
    others = MassColumn("Still the parties' own", accessor="others_mg", orderable=False)
    standing = tables.Column(accessor="over_mg", verbose_name="Answer", orderable=False)

    def render_standing(self, value, record):
        if not record.owed_mg:
            word, tone = "nothing owed", "plain"
        else:
            word, tone = ("yes", "good") if value >= 0 else ("no, short", "stop")
        return render_to_string("ui/status.html", {"word": word, "tone": tone})


class EntryTable(BaseTable):
    """Changes of a party's metal accounts."""

    caption = "Entries"
    empty_text = "Nothing was ever booked on its accounts."

    at = MomentColumn(verbose_name="When", orderable=False)
    metal = tables.Column(accessor="account__metal", orderable=False)
    mg = SignedMassColumn("Change", orderable=False)
    after = MassColumn("Balance", accessor="after_mg", orderable=False)
    what = tables.Column(accessor="pk", verbose_name="By", orderable=False)
    receipt = LotColumn(
        accessor="receipt__number", viewname="receipt", default="", verbose_name="Receipt", orderable=False
    )

    def render_what(self, record):
        if record.settlement:
            number, url = record.settlement.number, reverse("settlement", args=[record.settlement.number])
        else:
            number, url = record.operation.number, reverse("operation", args=[record.operation.number])
        return render_to_string("ui/lot.html", {"number": number, "url": url})


def metal_balances(metals: Iterable[str]) -> list[tuple[str, MassColumn]]:
    """A column for each of these metals, read from ``balances_mg``, with its sum."""
    return [
        (
            metal.lower(),
            MassColumn(metal, accessor=f"balances_mg__{index}", orderable=False, footer=_sum_of_balances(index)),
        )
        for index, metal in enumerate(METALS)
        if metal in metals
    ]


def _sum_of_balances(index: int):
    return lambda table: format_grams(sum(row.balances_mg[index] for row in table.data))


def _total(rows):
    return sum((row.amount for row in rows), Decimal("0.00"))
