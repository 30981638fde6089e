"""Lists of the counter: what is bought, refused parcels, paper slips."""

from decimal import Decimal

import django_tables2 as tables

from custody.queries.registers import ENTERED, OPEN, SPOILED, state_of
from custody.templatetags.metal import UNKNOWN
from custody.templatetags.papers import amount
from custody.web.tables import BaseTable, FigureColumn, LotColumn, MassColumn, MomentColumn, StatusColumn


class MoneyColumn(FigureColumn):
    """An amount of money; the currency stands in the header."""

    show = staticmethod(amount)


class BoughtTable(BaseTable):
    """Parcels with what each comes to, and the formula that leads to it."""

    caption = "What it comes to"

    what = tables.Column(verbose_name="Parcel", orderable=False, footer="Total")
    indicated = tables.Column(orderable=False)
    formula = tables.Column(verbose_name="How it was reckoned", orderable=False)

    def __init__(self, lines, *, currency: str, caption: str = caption, **kwargs):
        self.caption = caption
        total = sum((line.amount for line in lines), Decimal("0.00"))
        paid = MoneyColumn("Amount", unit=currency, orderable=False, footer=amount(total))
        super().__init__(lines, extra_columns=[("amount", paid)], **kwargs)


class RefusedTable(BaseTable):
    """The register of refused parcels."""

    caption = "Refused parcels"
    empty_text = "No parcel was refused."

    pk = LotColumn(viewname="refused", argument="number", verbose_name="No.", orderable=False)
    at = MomentColumn(verbose_name="When", orderable=False)
    brought_by = tables.Column(verbose_name="Brought by, handed back to", orderable=False)
    party = tables.Column(accessor="party__name", orderable=False)
    what = tables.Column(accessor="get_form_display", verbose_name="What", orderable=False)
    gross_mg = MassColumn("Gross", orderable=False)
    reason = tables.Column(orderable=False)
    by = tables.Column(verbose_name="Refused by", orderable=False)

    def render_what(self, value, record):
        return ", ".join(filter(None, (value, record.description)))


class SlipTable(BaseTable):
    """The register of paper slips, and what became of each."""

    caption = "Paper slips"
    empty_text = "No slip was printed yet. Print some before the power fails."

    number = LotColumn(viewname="slip", verbose_name="Slip", orderable=False)
    state = StatusColumn(
        accessor="pk",
        verbose_name="State",
        orderable=False,
        tones={OPEN: "wait", ENTERED: "good", SPOILED: "stop"},
    )
    became = tables.Column(accessor="pk", verbose_name="Entered as, or why spoiled", orderable=False)
    printed_at = MomentColumn(verbose_name="Printed", orderable=False)
    printed_by = tables.Column(verbose_name="By", orderable=False)

    def render_state(self, record):
        return self.columns["state"].column.render(state_of(record))

    def render_became(self, record):
        if hasattr(record, "delivery"):
            return LotColumn(viewname="receipt").render(record.delivery.operation.number)
        return record.spoiled.reason if hasattr(record, "spoiled") else UNKNOWN
