"""Lists of the exchange of assays."""

import django_tables2 as tables

from custody.models import ExchangeTerms
from custody.queries.exchanges import EXCHANGED, see
from custody.web.exchange import STATE_TONES
from custody.web.tables import (
    BaseTable,
    FigureColumn,
    FinenessColumn,
    LotColumn,
    MassColumn,
    MomentColumn,
    StatusColumn,
)


class ExchangeTable(BaseTable):
    """Exchanges with where each stands."""

    caption = "Exchanges of assays"
    empty_text = "There is no such exchange."

    number = LotColumn(verbose_name="Exchange", viewname="exchange")
    lot = LotColumn(verbose_name="Lot", accessor="lot__number")
    form = tables.Column("Form", accessor="lot__get_form_display")
    party = tables.Column("With")
    at = MomentColumn("Opened")
    state = StatusColumn(verbose_name="Standing", accessor="pk", tones=STATE_TONES)
    settled = tables.Column("Settled by", accessor="pk")

    class Meta:
        orderable = False

    def look_up(self) -> None:
        """Where the exchanges on this page stand."""
        self.seen = {one.exchange.pk: one for one in see([row.record for row in self.paginated_rows])}

    def render_state(self, value, column):
        return StatusColumn.render(column, self.seen[value].state)

    def render_settled(self, value):
        came = self.seen[value].determinations
        return came[-1].number if came else "—"


class DueTable(BaseTable):
    """Lots whose assays are exchanged before they are valued."""

    caption = "Lots whose assays are to be exchanged"
    empty_text = "No lot waits for an exchange to be opened."

    number = LotColumn(verbose_name="Lot")
    form = tables.Column("Form", accessor="get_form_display")
    gross = MassColumn("Gross", accessor="gross_mg")
    receipt = LotColumn(verbose_name="Receipt", viewname="receipt", accessor="receipt__number")
    party = tables.Column("With", accessor="receipt__party")
    found = tables.Column("Determinations", empty_values=())
    todo = tables.TemplateColumn(verbose_name="Next", template_name="staff/exchange/open_link.html")

    class Meta:
        orderable = False

    def render_found(self, value):
        return ", ".join(one.number for one in value) or "none"


class StepTable(BaseTable):
    """What happened, in order."""

    caption = "History"

    what = tables.Column("Step")
    by = tables.Column("By")
    at = MomentColumn("When")
    note = tables.Column("Which")

    class Meta:
        orderable = False


class UmpireSampleTable(BaseTable):
    """Where the umpire's sample is."""

    caption = "Samples kept for an umpire"
    empty_text = "No sample of this lot is kept for an umpire. Seal one, and hand it over."

    number = LotColumn(verbose_name="Sample")
    gross = MassColumn("Gross", accessor="lot__gross_mg")
    seal = tables.Column("Seal")
    custodian = tables.Column("Held by", accessor="lot__custodian")
    place = tables.Column("At", accessor="lot__place")

    class Meta:
        orderable = False


class ExchangeTermsTable(BaseTable):
    """How assays are exchanged with one party; a metal without a limit is the refinery's to say."""

    caption = "Exchange of assays agreed"
    empty_text = "No exchange of assays is agreed: the refinery's results count."

    valid_from = tables.Column(verbose_name="From")
    rule = tables.Column("Outside the limits", empty_values=())
    umpire = tables.Column("Umpire")
    days = FigureColumn("Days", accessor="days")
    agreed_by = tables.Column("Agreed by")

    class Meta:
        orderable = False

    def __init__(self, terms: list[ExchangeTerms], **kwargs):
        agreed = [
            (f"{metal}_limit", FinenessColumn(f"{metal} limit", accessor=f"{metal.lower()}_limit_ppm"))
            for metal in EXCHANGED
            if any(metal in row.limits_ppm for row in terms)
        ]
        sequence = ("valid_from", *(name for name, _ in agreed), "...")
        super().__init__(terms, extra_columns=agreed, sequence=sequence, **kwargs)

    def render_valid_from(self, value):
        return value.isoformat()

    def render_rule(self, record):
        return "ended: nothing is exchanged" if record.ended else record.get_rule_display()
