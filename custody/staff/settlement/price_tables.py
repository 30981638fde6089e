"""Lists of prices: those that stand, those of one day, what waits for a second person, what a file would record."""

from decimal import Decimal

import django_tables2 as tables
from django.template.loader import render_to_string
from django.urls import reverse

from custody.calc.fineness import format_percent
from custody.calc.mass import GROUP, MINUS
from custody.calc.price import quoted_price
from custody.calc.price_table import change_percent, per_ounce
from custody.models import Price
from custody.queries.prices import Planned, is_sure
from custody.templatetags.papers import price as shown
from custody.web.tables import BaseTable, FigureColumn, MomentColumn

#: More prices than these of a file are counted, not listed.
PLANS_SHOWN = 200


def figure(amount: Decimal) -> str:
    """A price as it is quoted, thousands apart."""
    return shown(quoted_price(amount))


def change(price: Price) -> str:
    """How far a price lies from the one that it was judged against."""
    if price.before is None:
        return ""
    now, before = (per_ounce(one.amount, one.per) for one in (price, price.before))
    return f"{change_percent(now, before):+,.2f}".replace(",", GROUP).replace("-", MINUS)


def standing_of(price: Price) -> tuple[str, str]:
    """Where a price stands, in words, with its tone."""
    if hasattr(price, "replaced_by"):
        return "replaced", "plain"
    if not is_sure(price):
        return "doubtful", "stop"
    return ("confirmed", "good") if price.doubtful else ("counts", "good")


class AmountColumn(FigureColumn):
    """Money per unit of mass; currency and unit stand beside it."""

    show = staticmethod(figure)


class PriceTable(BaseTable):
    """Prices that stand."""

    caption = "Prices"
    empty_text = "No price is entered for these days."

    day = tables.Column("Day", orderable=False)
    of = tables.Column("Of", empty_values=(), orderable=False)
    amount = AmountColumn("Price", orderable=False)
    unit = tables.Column("In", empty_values=(), orderable=False)
    change = FigureColumn("Change, %", empty_values=(), orderable=False)
    standing = tables.Column("Standing", empty_values=(), orderable=False)
    source = tables.Column("Source", orderable=False)

    def render_day(self, record):
        return render_to_string("ui/lot.html", {"number": str(record.day), "url": reverse("price", args=[record.pk])})

    def render_of(self, record):
        return f"{record.metal}, {record.fixing}"

    def render_unit(self, record):
        return f"{record.currency}/{record.per}"

    def render_change(self, record):
        return change(record)

    def render_standing(self, record):
        word, tone = standing_of(record)
        return render_to_string("ui/status.html", {"word": word, "tone": tone})


class HistoryTable(PriceTable):
    """Every price that was entered for one day, the last one in front."""

    caption = "Entered for this day"
    by = tables.Column("By", orderable=False)
    at = MomentColumn("Entered", orderable=False)
    how = tables.Column("How", empty_values=(), orderable=False)
    reason = tables.Column("Replaces the one before it, because", default="—", orderable=False)

    class Meta:
        exclude = ("day", "of")
        sequence = ("amount", "unit", "change", "standing", "source", "how", "by", "at", "reason")

    def render_how(self, record):
        return f"file {record.imported.name}" if record.imported else "by hand"


class DoubtfulTable(PriceTable):
    """Doubtful prices, to be ticked by whoever may confirm them."""

    caption = "Doubtful prices"
    empty_text = "No price waits for a second person."

    pick = tables.Column("Right", empty_values=(), orderable=False)
    before = AmountColumn("Before it", accessor="before__amount", orderable=False)
    limit = FigureColumn("Limit, %", accessor="limit_ppm", orderable=False)
    by = tables.Column("Entered by", orderable=False)

    class Meta:
        exclude = ("standing",)
        sequence = ("day", "of", "amount", "unit", "before", "change", "limit", "source", "by", "pick")

    def __init__(self, *args, viewer, may_confirm: bool, ticked=(), **kwargs):
        super().__init__(*args, **kwargs)
        self.viewer, self.ticked = viewer, set(ticked)
        if not may_confirm:
            self.exclude = (*self.exclude, "pick")

    def render_before(self, record):
        before = record.before
        unit = "" if before.per == record.per else f" per {before.per}"
        return f"{figure(before.amount)}{unit}, {before.day}"

    def render_limit(self, value):
        return format_percent(value)

    def render_pick(self, record):
        return render_to_string(
            "staff/settlement/price_tick.html",
            {"record": record, "own": record.by_id == self.viewer.pk, "ticked": str(record.pk) in self.ticked},
        )


class PlanTable(BaseTable):
    """What becomes of each price of a file; of many, the doubtful and those that replace others stand first."""

    caption = "What the file would record"

    line = FigureColumn("Line", accessor="said__line", orderable=False)
    day = tables.Column("Day", accessor="said__day", orderable=False)
    metal = tables.Column("Metal", accessor="said__metal", orderable=False)
    amount = AmountColumn("Price", accessor="said__amount", orderable=False)
    unit = tables.Column("In", accessor="said__per", orderable=False)
    fixing = tables.Column("Fixing", accessor="said__fixing", orderable=False)
    source = tables.Column("Source", accessor="said__source", orderable=False)
    becomes = tables.Column("What happens", accessor="said", orderable=False)
    doubt = tables.Column("Standing", accessor="judged", orderable=False)

    def __init__(self, plans, **kwargs):
        first = sorted(plans, key=lambda plan: (not plan.judged.doubtful, plan.same or plan.standing is None))
        self.more = max(len(plans) - PLANS_SHOWN, 0)
        super().__init__(first[:PLANS_SHOWN] if self.more else plans, **kwargs)

    def render_day(self, value):
        return str(value)

    def render_unit(self, value, record):
        return f"{record.said.currency}/{value}"

    def render_becomes(self, record):
        return becomes(record)

    def render_doubt(self, record):
        word, tone = ("doubtful", "stop") if record.judged.doubtful else ("counts", "good")
        return render_to_string("ui/status.html", {"word": word, "tone": tone}) if not record.same else ""


def becomes(plan: Planned) -> str:
    """In words: new, unchanged, or what it replaces."""
    if plan.same:
        return "stands already"
    if plan.standing:
        return f"replaces {figure(plan.standing.amount)} {plan.standing.currency}/{plan.standing.per}"
    return "new" if plan.judged.before else "new, the first of this metal, currency and fixing"


class LimitTable(BaseTable):
    """Limits that were set."""

    caption = "Limits, the latest first"
    empty_text = "Nobody set any: 5 % holds for every metal, common practice."

    metal = tables.Column("Metal", orderable=False)
    valid_from = tables.Column("From", orderable=False)
    jump = FigureColumn("Limit, %", accessor="jump_ppm", orderable=False)
    by = tables.Column("Set by", accessor="set_by", orderable=False)
    at = MomentColumn("When", accessor="set_at", orderable=False)
    note = tables.Column("Why", default="—", orderable=False)

    def render_valid_from(self, value):
        return str(value)

    def render_jump(self, value):
        return format_percent(value)
