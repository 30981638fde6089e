"""Lists of the customer's door. What the rows of a page need beside themselves is looked up once for the page."""

import django_tables2 as tables
from django.template.loader import render_to_string

from custody.calc.mass import format_grams
from custody.models import User
from custody.queries import own
from custody.queries.exchanges import State, see
from custody.queries.parcel_stages import behind, progress
from custody.templatetags.metal import local_time, permille_figure
from custody.web.exchange import STATE_TONES
from custody.web.tables import (
    BaseTable,
    FigureColumn,
    FinenessColumn,
    LotColumn,
    MassColumn,
    MomentColumn,
    PaperColumn,
    StatusColumn,
    paper_link,
)

#: Stations at which nothing is awaited any more.
TONES = {"returned": "good", "settled": "good"}
#: Where an exchange of assays stands, as the customer reads it.
STATE_WORDS = {
    State.AWAITING_BOTH: "awaiting both results",
    State.AWAITING_CUSTOMER: "awaiting your result",
    State.AWAITING_REFINERY: "awaiting our result",
    State.SETTLED: "settled",
    State.VALUED: "settled",
    State.ALONE: "closed without yours",
    State.OVER: "ended",
}


class DeliveryTable(BaseTable):
    """Receipts with how far they have come."""

    caption = "Your deliveries"
    empty_text = "Nothing was delivered yet."

    number = LotColumn(verbose_name="Receipt", viewname="portal-receipt", orderable=False)
    at = MomentColumn(verbose_name="Received", orderable=False)
    parcels = FigureColumn("Parcels", accessor="pk", orderable=False)
    net = MassColumn("Net weight", accessor="pk", orderable=False)
    stage = StatusColumn(accessor="pk", tones=TONES, verbose_name="Stage", orderable=False)

    def look_up(self) -> None:
        """The parcels of the receipts on this page."""
        self.lines = progress([row.record for row in self.paginated_rows])

    def render_parcels(self, value):
        return len(self.lines[value])

    def render_net(self, value):
        return format_grams(sum(line.received_mg for line in self.lines[value]))

    def render_stage(self, value, column):
        return StatusColumn.render(column, behind(self.lines[value]))


class ExchangeTable(BaseTable):
    """Exchanges of assays with how each stands."""

    caption = "Exchange of assays"

    number = LotColumn(verbose_name="Exchange", viewname="portal-exchange", orderable=False)
    lot = tables.Column(verbose_name="Lot", orderable=False)
    receipt = LotColumn(
        verbose_name="Receipt", viewname="portal-receipt", accessor="lot__receipt__number", orderable=False
    )
    at = MomentColumn(verbose_name="Opened", orderable=False)
    state = StatusColumn(accessor="pk", verbose_name="Standing", orderable=False)

    def look_up(self) -> None:
        """How the exchanges on this page stand."""
        self.seen = {one.exchange.pk: one for one in see([row.record for row in self.paginated_rows])}

    def render_state(self, value, column):
        state = self.seen[value].state
        awaited = state in (State.AWAITING_BOTH, State.AWAITING_CUSTOMER)
        tone = "wait" if awaited else STATE_TONES.get(state, "plain")
        return render_to_string("ui/status.html", {"word": STATE_WORDS.get(state, state.label), "tone": tone})


class BarTable(BaseTable):
    """Bars delivered, each with its certificate."""

    caption = "Bars delivered to you"
    empty_text = "No bar was delivered to you yet."

    serial = tables.Column(verbose_name="Serial", orderable=False)
    mark = tables.Column(verbose_name="Mark", orderable=False)
    year = FigureColumn("Year", orderable=False)
    gross = MassColumn("Gross", accessor="lot_id", orderable=False)
    fineness = FinenessColumn("Fineness", accessor="lot_id", orderable=False)
    left = tables.Column(accessor="lot_id", verbose_name="Left us", orderable=False)
    certificate = tables.Column(accessor="lot_id", verbose_name="Certificate", orderable=False)

    def look_up(self, viewer: User) -> None:
        """How the bars on this page left, and their certificates."""
        self.bars = own.delivered([row.record for row in self.paginated_rows], viewer)

    def render_gross(self, value):
        return format_grams(self.bars[value].gross_mg)

    def render_fineness(self, value):
        return permille_figure(self.bars[value].fineness_ppm)

    def render_left(self, value):
        return local_time(self.bars[value].at)

    def render_certificate(self, value):
        paper = self.bars[value].certificate
        return paper_link(paper) if paper else "not issued yet"


class PaperTable(BaseTable):
    """Papers of one delivery."""

    caption = "Papers"
    empty_text = "No paper is issued yet."

    title = PaperColumn(verbose_name="Paper", orderable=False)
    copy_no = FigureColumn("Copy", orderable=False)
    issued_at = MomentColumn(verbose_name="Issued", orderable=False)
